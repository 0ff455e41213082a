"""PocketSphinx behind lines of JSON, for the ear's benchmark: {"words": …} once, then {"grammar": …, "clips": …}.

Run as `python3 sphinx.py MODELS`; the wheel's files stand in MODELS/pocketsphinx (python3 models/setup.py --with bench).
"""

import array
import json
import sys
import time

MODELS = sys.argv[1]
sys.path.insert(0, MODELS)
from pocketsphinx import _pocketsphinx as ps  # noqa: E402

FOLDER = f"{MODELS}/pocketsphinx/model/en-us"
ps.set_loglevel("FATAL")
config = ps.Config(hmm=f"{FOLDER}/en-us", dict=f"{FOLDER}/cmudict-en-us.dict", lm=None, samprate=16000)
decoder = ps.Decoder(config)
grammars = {}

for line in sys.stdin:
    order = json.loads(line)
    if "words" in order:
        added = [w for w, _ in order["words"] if decoder.lookup_word(w) is None]
        for word, sound in order["words"]:
            if word in added and sound:
                decoder.add_word(word, sound, False)
        answer = {"added": added}
    else:
        text = order["grammar"]
        if text not in grammars:
            name = f"g{len(grammars)}"
            decoder.add_jsgf_string(name, text)
            grammars[text] = name
        decoder.activate_search(grammars[text])
        answer = []
        for clip in order["clips"]:
            began = time.monotonic()
            decoder.start_utt()
            decoder.process_raw(array.array("h", clip).tobytes(), full_utt=True)
            decoder.end_utt()
            heard = decoder.hyp()
            took = 1000 * (time.monotonic() - began)
            frames = max(decoder.n_frames(), 1)
            sure = heard.score / frames if heard else -1e9
            answer.append({"text": heard.hypstr if heard else "", "sure": sure, "took_ms": took})
    print(json.dumps(answer), flush=True)
