# Needs only make, the Rust toolchain, python3 and (on Debian-like Linux) apt. `make help` lists the targets.

SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c
.DELETE_ON_ERROR:
.PHONY: help setup demo demo-full vosk test bench bench-ear bench-radio clean
.DEFAULT_GOAL := help

help: ## this list
	@sed -nE 's/^([a-z-]+):.*## (.*)/  make \1\t\2/p' $(MAKEFILE_LIST) | expand -t 16

setup: ## install, fetch and verify what is not in this repository (models/manifest.toml); quick when all is there
	@python3 models/setup.py

demo: setup ## a departure by voice with a synthetic captain: out/demo/flight.wav, journal.jsonl, transcript.md
	@mkdir -p out
	cargo build --release --locked --bin antiphon
	cargo run --release --locked --quiet --bin antiphon -- demo --out out/demo
	cargo run --release --locked --quiet --bin antiphon -- replay out/demo/journal.jsonl
	@echo "demo: done; listen to out/demo/flight.wav, read out/demo/transcript.md"

demo-full: setup ## gate to gate by voice with each of the three books: out/full/BOOK/flight.wav …; and what of them was never exercised
	@mkdir -p out/full
	cargo build --release --locked --bin antiphon
	for book in saltmarsh-t2 saltmarsh-t4 fenwick-t2; do \
	  cargo run --release --locked --quiet --bin antiphon -- demo --full --book $$book --out out/full/$$book; \
	  cargo run --release --locked --quiet --bin antiphon -- replay out/full/$$book/journal.jsonl; \
	done
	for book in saltmarsh-t2 saltmarsh-t4 fenwick-t2; do \
	  cargo run --release --locked --quiet --bin antiphon -- check $$book --coverage \
	    out/full/*/journal.jsonl tests/sessions phrasebooks/saltmarsh-t2/demo; \
	done
	@echo "demo-full: done; listen to out/full/saltmarsh-t2/flight.wav, read out/full/saltmarsh-t2/transcript.md"

# SEED takes another voice and another noise; TYPED=--typed goes without sound.
.PHONY: evening
evening: setup ## a flight of two hours by voice with a conversation on the way: repeats asked, wrong actions, deviations called, touches
	@mkdir -p out/evening
	cargo build --release --locked --bin antiphon
	cargo run --release --locked --quiet --bin antiphon -- demo --script phrasebooks/saltmarsh-t2/demo/evening.toml --out out/evening $(if $(SEED),--seed $(SEED)) $(TYPED)

vosk: ## the Vosk ear: libvosk (26 MB) and the worker that is linked to it; docs/vosk.md says how to add a model
	@python3 models/setup.py --with vosk
	cargo build --release --locked --features vosk --bin antiphon-vosk

test: ## format, lints and every test; with REQUIRE=1 a test that would skip fails
	@python3 models/setup.py --with vosk --with test
	cargo fmt --check
	cargo clippy --locked --all-targets --features vosk -- -D warnings
	cargo test --locked --features vosk --lib --bins --test tidy --test setup --test hearing
	cargo test --locked --features vosk --test suite -- --skip oracle::
	@echo "test: and the flight that measures time, with nothing beside it"
	cargo test --locked --features vosk --test suite -- oracle::
	@echo "test: and the sound devices in real time, with nothing beside them"
	cargo test --locked --features vosk --test pulse
	@$(MAKE) --no-print-directory cross
	@echo "test: format, lints and tests all passed"

bench-radio: setup ## how well readbacks are heard, right and wrong: the table of docs/benchmarks.md
	cargo bench --locked --bench radio

.PHONY: bench-page
bench-page: setup ## page and debrief against their targets, in a real browser; 6 minutes, on a quiet machine
	@python3 models/setup.py --with test
	REQUIRE=1 MEASURE=all cargo test --release --locked --test suite -- page:: debrief:: --nocapture --test-threads=1

.PHONY: test-audio
test-audio: ## flights and drills through sound devices alone, in real time, on a sound server of the test's own; a quiet machine
	@python3 models/setup.py --with vosk --with test
	REQUIRE=1 cargo test --locked --features vosk --test pulse

.PHONY: test-link
test-link: ## callouts against flight models that nobody here wrote, in real time: a table of errors; 6 minutes, on a quiet machine
	@python3 models/setup.py --with test
	REQUIRE=1 FLIGHTS=all cargo test --locked --test suite oracle:: -- --nocapture

.PHONY: cross
cross: ## type check for Windows and macOS, as far as the toolchain has their standard libraries; what is not checked is said
	@for check in "x86_64-pc-windows-gnu" "aarch64-apple-darwin --no-default-features"; do \
	  target=$${check%% *}; \
	  if [ -d "$$(rustc --print sysroot)/lib/rustlib/$$target" ] || timeout 120 rustup target add $$target; then \
	    echo "cross: $$check"; cargo check --locked --lib --bins --target $$check; \
	  else echo "cross: NOT CHECKED: $$target, whose standard library cannot be had here (rustup target add $$target)"; fi; \
	done

bench: setup ## the quick benchmarks of tests/bench
	cargo bench --locked --bench book --bench engine

# N is the trials a cell of the table, HUMAN a folder of recorded sounds that holds `negatives` (both may be left out).
bench-ear: setup ## how well the ear hears; for example: make bench-ear N=24 HUMAN=../shared/sounds
	cargo bench --locked --bench ear -- --n $(or $(N),24) $(if $(HUMAN),--human $(HUMAN))

clean: ## what was built and recorded; fetched models stay (delete models/files and models/.cache by hand)
	cargo clean
	rm -rf out

.PHONY: test-echo
test-echo: ## heard over our own voice in a computed room: half an hour of our speech, a hundred words over it; 8 minutes
	@python3 models/setup.py --with test
	REQUIRE=1 ROOM=all cargo test --locked --test suite echo:: -- --nocapture --test-threads=1
