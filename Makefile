.DEFAULT_GOAL := help
.PHONY: help setup run demo test windows quick check bench prove accuracy coverage mutants docs lock
PY := .venv/bin/python
COVERED := --cov=heavyspot --cov-branch --cov-report=term:skip-covered

help:            ## this list
	@grep -E '^[a-z]+: .*##|^[a-z]+:  *##' $(MAKEFILE_LIST) | sed -E 's/:[^#]*## /\t/' | expand -t 10

setup:           ## a .venv with everything; the program is then .venv/bin/heavyspot
	@scripts/setup

run: setup       ## the workshop in the browser: demo shop, simulated rig, http://127.0.0.1:8520
	@.venv/bin/heavyspot --data demo-shop serve --demo-shop

demo: setup      ## the same in a terminal: a cartridge from out of limit to its sheet
	@.venv/bin/heavyspot demo

test: check           ## every test, and which lines and branches they reach
	@scripts/test-needs
	$(PY) -m pytest -q -n 2 -m "not prove" --no-skip $(COVERED)

windows: setup   ## what touches files, under what stands in for Windows (minutes)
	$(PY) -m pytest -q -n 2 --no-cov --on-windows -m "not prove and not slow and not posix" -k "not postgresql and not PostgreSQL" \
	  tests/workshop/keep/test_backup.py tests/workshop/keep/test_heads.py tests/workshop/keep/test_private.py \
	  tests/workshop/keep/test_reread.py tests/workshop/old_book tests/ledger/store/test_archive.py tests/workshop/bench/test_live_store.py

quick: setup     ## the tests but the slow ones
	$(PY) -m pytest -q -n 2 -m "not slow and not prove"

check: setup     ## format, lint, types, floors
	.venv/bin/ruff format --check .
	.venv/bin/ruff check .
	.venv/bin/mypy
	.venv/bin/lint-imports
	.venv/bin/djlint src/heavyspot/web/templates --lint --quiet
	@scripts/check-face

coverage: setup  ## every test, and a report of the lines and branches they reach
	$(PY) -m pytest -q -n 2 -m "not prove" $(COVERED) $(ONLY)

mutants: setup   ## the core changed a little, many times: do its tests notice? ONLY=balance/cut/minmax.py for one file
	$(PY) scripts/mutants.py $(ONLY)

bench: setup     ## speed, as ratios against named references in the same run
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(PY) -m benchmarks
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(PY) -m benchmarks.live
	$(PY) -m benchmarks.screen
	$(PY) -m benchmarks.search
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(PY) -m benchmarks.reread

prove: setup     ## the long proofs (closed loop, accuracy grid)
	$(PY) -m pytest -q -n 2 -m prove

accuracy: setup  ## the accuracy table of the order tracking
	$(PY) -m pytest -q -s -m prove tests/signal/test_accuracy_grid.py

docs: setup      ## this documentation as a site, in docs/_site; a broken link fails
	.venv/bin/sphinx-build -W --keep-going -q -j auto -b html docs docs/_site
	@echo "docs/_site/index.html"

lock: setup      ## make the hashed lock anew from pyproject.toml
	.venv/bin/uv pip compile --universal --python-version 3.11 --generate-hashes --no-header --no-annotate pyproject.toml --group dev -o requirements.lock -q
