"use strict";
const $ = id => document.getElementById(id);
const boot = document.querySelector("meta[name=boot]").content;

// A tag with its parts; text is only ever text.
function tag(name, set, ...parts) {
  const e = document.createElement(name);
  for (const [k, v] of Object.entries(set || {})) {
    if (v === null || v === undefined || v === false) continue;
    if (k.startsWith("on")) e.addEventListener(k.slice(2), v);
    else e.setAttribute(k, v === true ? "" : v);
  }
  e.append(...parts.flat().filter(p => p !== null && p !== undefined && p !== ""));
  return e;
}

// Puts new parts in, but not if they would be the same; what has the focus or was typed stays.
const made = new Map();
function put(id, data, make) {
  const json = JSON.stringify(data);
  if (made.get(id) === json) return;
  made.set(id, json);
  const place = $(id), held = document.activeElement;
  const key = place.contains(held) ? held.dataset.key : null;
  const typed = new Map([...place.querySelectorAll("[data-key]")].filter(e => e.value && e.dataset.was !== e.value).map(e => [e.dataset.key, e.value]));
  place.replaceChildren(...[make(data)].flat());
  for (const e of place.querySelectorAll("[data-key]")) {
    if (typed.has(e.dataset.key)) e.value = typed.get(e.dataset.key);
    if (e.dataset.key === key) e.focus();
  }
}

async function touch(what, told) {
  try {
    const r = await fetch("/touch", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(what) });
    tell(r.ok ? told : await r.text(), !r.ok);
  } catch {
    tell("The program does not answer; nothing was sent.", true);
  }
}
let silence = 0;
function tell(text, bad) {
  $("told").textContent = text;
  $("told").className = bad ? "bad" : "";
  clearTimeout(silence);
  silence = setTimeout(() => { $("told").textContent = ""; }, 6000);
}
const say = words => touch({ do: "say", words }, "sent: " + words);

let agreed = null;
function ask(question, yes, then) {
  $("ask-t").textContent = question;
  $("ask-yes").textContent = yes;
  agreed = then;
  $("ask").showModal();
}
$("ask-yes").addEventListener("click", () => { $("ask").close(); if (agreed) agreed(); });
$("ask-no").addEventListener("click", () => $("ask").close());

// A part that folds; it stays as it was left, whatever becomes of what is in it.
const folds = new Map();
function fold(key, title, count, open, ...parts) {
  const was = folds.has(key) ? folds.get(key) : open;
  const seen = e => { if (e.target.isConnected) folds.set(key, e.target.open); };
  return tag("details", { open: was, ontoggle: seen }, tag("summary", { "data-key": "f:" + key }, title, tag("span", { class: "count" }, " " + count)), ...parts);
}

// A wording: a button if there is nothing to fill in, else a small form.
function way(pieces, key, critical, main) {
  const send = words => critical ? ask("Say “" + words + "”?", "Say it", () => say(words)) : say(words);
  if (pieces.every(p => typeof p === "string")) {
    const words = pieces.join(" ");
    return tag("button", { type: "button", class: main ? "main" : null, "data-key": key, onclick: () => send(words) }, words);
  }
  const fields = pieces.map((p, i) => {
    if (typeof p === "string") return p;
    const set = { "aria-label": p.blank, "data-key": key + ":" + i, required: true };
    return p.among.length
      ? tag("select", set, tag("option", { value: "" }, "…"), p.among.map(w => tag("option", {}, w)))
      : tag("input", { ...set, placeholder: p.blank, autocomplete: "off", maxlength: 40 });
  });
  const go = e => {
    e.preventDefault();
    send(fields.map(f => typeof f === "string" ? f : f.value.trim()).join(" "));
    e.target.reset();
  };
  return tag("form", { class: "say", onsubmit: go }, fields, tag("button", { type: "submit", class: main ? "main" : null, "data-key": key + ":go" }, "Say"));
}

const KNOWN = { seen: "seen", heard_only: "heard only", simulated: "simulated" };
const STATES = { agreed: "✓ agreed", contradicted: "✕ not agreed", cannot_see: "? not seen", skipped: "↷ skipped", no_answer: "… no answer", now: "▸ now", open: "" };

function items(list) {
  const out = [tag("div", { class: "you head" }, "you"), tag("div", { class: "mid head" }, "the aircraft"), tag("div", { class: "they head" }, "second pilot")];
  list.items.forEach(i => {
    const c = i.state === "open" ? " open" : i.state === "now" || i.state === "contradicted" ? " now" : "";
    const odd = i.state === "contradicted" || i.state === "no_answer", settled = c !== " open" && i.state !== "now";
    const mine = i.you || (i.expected && !settled ? tag("em", { class: "soft" }, i.expected) : "");
    const his = i.second || (i.second_says && !settled ? tag("em", { class: "soft" }, i.second_says) : "");
    const sees = i.shown ? (i.agrees === true ? "✓ " : i.agrees === false && i.state !== "open" ? "✕ " : "") + i.shown : "";
    out.push(
      tag("div", { class: "you" + c }, mine, STATES[i.state] ? tag("span", { class: "mark" + (odd ? " odd" : " soft") }, STATES[i.state]) : null),
      tag("div", { class: "mid" + c }, sees ? tag("span", { class: "sees" }, sees) : null, tag("span", { class: "known " + i.known }, KNOWN[i.known] || i.known)),
      tag("div", { class: "they" + c }, tag("span", { class: i.killer ? "killer" : null }, i.challenge), his ? tag("span", { class: "mark" }, "— ", his) : null));
  });
  const key = list.items.some(i => i.killer) ? "! not to be left out" : "";
  return [tag("div", { class: "voices items" }, out), key ? tag("p", { class: "soft foot" }, key) : null].filter(Boolean);
}

// What waits for you, and how to answer it by touch.
let due = { texts: [], list: false, answers: [], rest: [] };
function answer() {
  const named = new Set(due.answers.map(p => JSON.stringify(p)));
  // Of the ways to say the same values one is enough to touch.
  const forms = new Set();
  const once = pieces => {
    const blanks = pieces.filter(p => typeof p !== "string").map(p => p.blank).join();
    return !blanks || (!forms.has(blanks) && Boolean(forms.add(blanks)));
  };
  const own = due.answers.filter(once);
  const rest = due.rest.filter(c => !named.has(JSON.stringify(c.say)) && once(c.say));
  $("foryou").hidden = !due.texts.length && !own.length && !rest.length;
  put("due", due.texts, all => all.map(t => tag("p", {}, t)));
  put("answers", [own, rest], ([own, rest]) => tag("div", { class: "ways" },
    own.map((p, i) => way(p, "a" + i, false, true)),
    rest.map(c => way(c.say, "d" + JSON.stringify(c.say), c.critical, !own.length))));
}

// A figure's name and value; what is not there is a dash, and said in words to whoever cannot see it.
const pair = none => ([t, v]) => tag("div", {}, tag("dt", {}, t), tag("dd", { class: v ? null : "unseen" }, v || "–", v ? null : tag("span", { class: "hidden" }, none)));
const HOME = ["lists", "flows and briefings", "set on the aircraft", "to the ground", "to the cabin", "on the radio", "who flies, stop, go around"];
const PARTS = [["flight", "written or checked on this flight", true], ["given", "from the book, computed, read off the aircraft", false], ["open", "not set", false]];

const draw = {
  clock: c => { $("clock").textContent = c; },
  flight: f => {
    $("phase").textContent = f.phase;
    $("roles").textContent = "you: " + f.you + " · second pilot: " + f.second + (f.next.length ? " · next: " + f.next.join(", ") : "");
    put("figures", f.figures, all => all.map(pair("not seen")));
    put("speeds", f.speeds, all => all.map(pair("not set")));
  },
  health: all => put("health", all, all => all.map(h => tag("li", { class: h.state }, h.room + ": " + h.text))),
  list: l => {
    $("list").hidden = !l.title;
    $("list-h").textContent = l.title || "Checklist";
    $("list-waits").textContent = l.waits + (l.behind.length ? " · waiting behind it: " + l.behind.join(", ") : "");
    put("items", { items: l.items, due: l.due }, items);
    Object.assign(due, { list: l.due, answers: l.due ? l.answers : [] });
    answer();
  },
  doing: d => {
    due.texts = d.for_you;
    answer();
    put("doing-b", d, d => [
      d.saying.map(([who, text]) => tag("p", {}, tag("span", { class: "soft" }, who + " says: "), "“" + text + "”")),
      d.now.map(w => tag("div", { class: "work" }, tag("span", { class: "soft" }, w.who + ": "), w.what, w.of ? tag("span", { class: "soft" }, " " + w.of) : null, w.step ? tag("p", {}, w.step) : null)),
      d.now.length || d.saying.length ? null : tag("p", { class: "soft" }, "nothing to do"),
      d.next.length ? [tag("h3", {}, "then"), tag("ul", { class: "plain" }, d.next.slice(0, 6).map(t => tag("li", {}, t)))] : null,
      d.briefing[0] ? [tag("h3", {}, d.briefing[0]), tag("ul", { class: "plain" }, d.briefing[1].map(([t, done]) => tag("li", { class: done ? "soft" : null }, done ? "✓ " + t : "○ " + t + ", not yet")))] : null,
      d.put_off.length ? [tag("h3", {}, "put off until later"), tag("ul", { class: "plain" }, d.put_off.map(t => tag("li", {}, t)))] : null,
    ].flat(2).filter(Boolean));
  },
  heard: h => put("heard-b", h, h => h.at === "" ? [tag("p", { class: "soft" }, "nothing yet")] : [
    tag("p", { class: "words" }, h.text ? "“" + h.text + "”" : "not understood"),
    tag("p", {}, h.why ? tag("span", { class: "odd" }, "✕ not taken: " + h.why) : "✓ taken", tag("span", { class: "soft" }, " · " + h.at + (h.by === "voice" ? " · score " + h.score : " · by words"))),
    h.others.length ? tag("p", { class: "soft" }, "could also have been: " + h.others.map(([t, s]) => "“" + t + "” (" + s + ")").join(", ")) : null,
  ].filter(Boolean)),
  can: all => {
    due.rest = all.filter(g => g.due).flatMap(g => g.calls);
    answer();
    put("can-b", all.filter(g => !g.due), all => all.map(g => fold("can " + g.title, g.title, g.calls.length, HOME.includes(g.title),
      tag("div", { class: "ways" }, g.calls.map(c => way(c.say, g.title + JSON.stringify(c.say), c.critical, false))))));
  },
  keys: k => {
    keys = k;
    for (const name of ["hold", "resume", "repeat", "skip", "stop"]) $("k-" + name).disabled = !k[name];
    $("k-talk").disabled = !k.talk;
    $("k-talk").title = k.talk ? "" : "push-to-talk needs a live microphone";
  },
  refused: all => put("refused-b", all, all => {
    const row = r => tag("li", {}, tag("span", { class: "soft" }, r.at), tag("span", {}, r.what), tag("span", { class: "why" }, r.why));
    return all.length
      ? [tag("ul", { class: "plain refusals" }, all.slice(0, 3).map(row)), all.length > 3 ? fold("refused", "earlier", all.length - 3, false, tag("ul", { class: "plain refusals" }, all.slice(3).map(row))) : null].filter(Boolean)
      : [tag("p", { class: "soft" }, "nothing was refused")];
  }),
  lines: all => put("score-b", all, all => {
    const row = l => l.side === "flight"
      ? [tag("div", { class: "all" }, l.text + " " + l.at)]
      : [tag("div", { class: "you" }, l.side === "you" ? l.text : ""), tag("div", { class: "mid" }, l.at), tag("div", { class: "they" }, l.side === "you" ? "" : [l.who ? tag("em", {}, l.who + ": ") : null, l.text])];
    const rows = [...all].reverse().map(row), some = (from, to) => tag("div", { class: "voices" }, rows.slice(from, to).flat());
    return [some(0, 14), rows.length > 14 ? fold("lines", "earlier", rows.length - 14, false, some(14)) : null].filter(Boolean);
  }),
  sheet: all => put("sheet-b", all, all => PARTS.map(([part, title, open]) => {
    const rows = all.filter(e => e.part === part);
    return rows.length ? fold("sheet " + part, title, rows.length, open, table(rows)) : null;
  }).filter(Boolean)),
};

function table(rows) {
  return tag("table", {},
    tag("thead", {}, tag("tr", {}, ["entry", "value", "set by", "cross-checked by"].map(t => tag("th", { scope: "col" }, t)))),
    tag("tbody", {}, rows.map(e => {
      const set = { "aria-label": e.title, "data-key": "s:" + e.id, "data-was": e.value };
      const words = e.kind === "bool" ? ["true", "false"] : e.among;
      const field = words.length
        ? tag("select", set, words.map(w => tag("option", { value: w, selected: w === e.value }, { true: "yes", false: "no" }[w] || w)))
        : tag("input", { ...set, value: e.value, maxlength: 64, autocomplete: "off", inputmode: e.kind === "number" ? "decimal" : "text" });
      const go = ev => { ev.preventDefault(); field.dataset.was = field.value; touch({ do: "sheet", entry: e.id, value: field.value }, "written: " + e.title + " " + field.value); };
      return tag("tr", {}, tag("th", { scope: "row" }, e.title), tag("td", {}, tag("form", { onsubmit: go }, field, tag("button", { type: "submit", "aria-label": "write " + e.title, "data-key": "w:" + e.id }, "Write"))),
        tag("td", {}, e.by || "nobody", e.at ? tag("span", { class: "soft" }, " at " + e.at) : null),
        tag("td", {}, e.doubted ? tag("span", { class: "odd" }, "✕ in doubt ") : null, e.checked ? "✓ " + e.checked : tag("span", { class: "soft" }, "nobody yet")));
    })));
}

// The keys.
let keys = {}, item = "";
for (const name of ["hold", "resume", "repeat", "stop"]) $("k-" + name).addEventListener("click", () => keys[name] && say(keys[name]));
$("k-skip").addEventListener("click", () => keys.skip && ask("Leave " + (item ? "“" + item + "”" : "this item") + " unanswered? It is recorded as skipped.", "Skip it", () => say(keys.skip)));
let held = false;
function talk(on) {
  if (held === on) return;
  held = on;
  $("k-talk").setAttribute("aria-pressed", String(on));
  touch({ do: "talk", held: on }, on ? "listening to you" : "");
}
$("k-talk").addEventListener("pointerdown", e => { if (!$("k-talk").disabled) { $("k-talk").setPointerCapture(e.pointerId); talk(true); } });
for (const end of ["pointerup", "pointercancel", "lostpointercapture", "blur"]) $("k-talk").addEventListener(end, () => talk(false));
$("k-talk").addEventListener("keydown", e => { if (e.key === " " || e.key === "Enter") { e.preventDefault(); talk(true); } });
$("k-talk").addEventListener("keyup", () => talk(false));
$("k-talk").addEventListener("contextmenu", e => e.preventDefault());
window.addEventListener("pagehide", () => talk(false));

// Day and night.
const night = () => { const t = document.documentElement.dataset.theme; return t ? t === "night" : matchMedia("(prefers-color-scheme: dark)").matches; };
function theme(to) {
  if (to) { document.documentElement.dataset.theme = to; try { localStorage.setItem("theme", to); } catch { /* not kept, then */ } }
  $("theme").textContent = night() ? "Day" : "Night";
}
$("theme").addEventListener("click", () => theme(night() ? "day" : "night"));
try { theme(localStorage.getItem("theme")); } catch { theme(null); }
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => theme(null));

// News: merged until the next picture, so that a flood costs no more than a picture.
let waiting = {}, asked = false, known = boot, over = false, fresh = 0, standing = 0, source = null;
function news(parts) {
  Object.assign(waiting, parts);
  if (asked) return;
  asked = true;
  requestAnimationFrame(() => {
    asked = false;
    const parts = waiting;
    waiting = {};
    if (parts.list) item = (parts.list.items.find(i => i.state === "now") || {}).challenge || "";
    for (const [name, part] of Object.entries(parts)) if (draw[name]) draw[name](part);
    document.documentElement.dataset.drawn = String(Number(document.documentElement.dataset.drawn || 0) + 1);
  });
}
function state(text) { if ($("state").textContent !== text) $("state").textContent = text; }
function connect() {
  source = new EventSource("/events");
  source.onmessage = e => {
    const n = JSON.parse(e.data);
    if (n.boot !== known) {
      if (n.boot.split(".")[0] !== known.split(".")[0]) return location.reload();
      known = n.boot;
      made.clear();
      tell("The program has started again; this is its new session.");
    }
    over = n.over;
    fresh = Date.now();
    if (n.parts.clock !== undefined) standing = Date.now();
    state(over ? "The session has ended. The page goes on when the program starts again." : "");
    news(n.parts);
  };
  source.onerror = async () => {
    source.close();
    talk(false);
    if (!over) state("The program does not answer. What is shown is old; the page goes on by itself.");
    // After a restart on a network a new code is wanted.
    try { if ((await fetch("/events", { method: "HEAD" })).status === 401) return location.reload(); } catch { /* not there yet */ }
    setTimeout(connect, 1000);
  };
}
setInterval(() => {
  if (source && source.readyState === 1 && !over && standing && Date.now() - standing > 4000) state("The session stands still: the program is there, but its clock does not go on.");
}, 1000);
connect();
