# Two commands do all set-up on a fresh machine: make demo and make test.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.ready

.PHONY: demo test test-boards campaign lint benchmarks board case clean

$(STAMP): pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --upgrade pip
	$(BIN)/python -m pip install --quiet -e '.[dev]'
	touch $(STAMP)

demo: $(STAMP)
	$(BIN)/sweeprig demo

lint: $(STAMP)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

test: lint
	$(BIN)/python -m pytest -n auto --dist worksteal

# On emulated boards, with the images that SWEEPRIG_BOARD_IMAGE and SWEEPRIG_BOARD_IMAGE_W name.
test-boards: $(STAMP)
	$(BIN)/python -m pip install --quiet -e '.[board]'
	$(BIN)/python -m tests.board.fast_emulator
	$(BIN)/python -m pytest tests/board -v -n auto --dist loadgroup --durations=10

campaign: $(STAMP)
	$(BIN)/python -m tests.campaign --tries 1000 --seconds 5

benchmarks: $(STAMP)
	$(BIN)/python -m tests.benchmarks

# Made anew only where the rig changes; the tests say when. Need KiCad 6 (kicad, kicad-footprints) and OpenSCAD.
board: $(STAMP)
	$(BIN)/python -m pip install --quiet -e '.[hardware]'
	PYTHONPATH=.:host:firmware $(BIN)/python -m hardware.board

case: $(STAMP)
	PYTHONPATH=.:host:firmware $(BIN)/python -m hardware.case

clean:
	rm -rf $(VENV) build dist
