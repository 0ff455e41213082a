# Needs only make, the Rust toolchain, python3 and (on Debian-like Linux) apt. `make help` lists the targets.

SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c
.DELETE_ON_ERROR:
.PHONY: help setup demo test bench bench-ear clean
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

test: setup ## format, lints and every test; with REQUIRE=1 a test that would skip fails
	cargo fmt --check
	cargo clippy --locked --all-targets -- -D warnings
	cargo test --locked
	@echo "test: format, lints and tests all passed"

bench: setup ## the quick benchmarks of tests/bench
	cargo bench --locked --bench book

# N is the trials a cell of the table, HUMAN a folder of recorded sounds that holds `negatives` (both may be left out).
bench-ear: setup ## how well the ear hears; for example: make bench-ear N=24 HUMAN=../shared/sounds
	cargo bench --locked --bench ear -- --n $(or $(N),24) $(if $(HUMAN),--human $(HUMAN))

clean: ## what was built and recorded; fetched models stay (delete models/files and models/.cache by hand)
	cargo clean
	rm -rf out
