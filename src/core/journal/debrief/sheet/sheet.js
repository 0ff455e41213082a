(function () {
  var sound = document.getElementById("sound");
  if (!sound) return;
  var head = document.getElementById("head");
  var end = Number(document.body.dataset.end) || 1;
  document.addEventListener("click", function (e) {
    var a = e.target.closest && e.target.closest("a.moment");
    if (!a) return;
    e.preventDefault();
    sound.currentTime = Math.max(0, Number(a.dataset.at) - 1);
    sound.play();
  });
  if (head) sound.addEventListener("timeupdate", function () {
    var x = Number(head.dataset.from) + Number(head.dataset.width) * Math.min(1, sound.currentTime / end);
    head.setAttribute("transform", "translate(" + x.toFixed(1) + " 0)");
    head.removeAttribute("visibility");
  });
})();
