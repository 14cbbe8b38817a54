# Two commands do everything: `make demo` and `make test`. The others are their parts, by name.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check -q

.PHONY: demo test lint types rooms unit benchmarks gallery motifs clean system

demo: $(VENV)/.ready ## the main job on a motif drawn for this project; says where the results are
	$(BIN)/friezewright compose gallery/herb-door.toml -o demo
	@echo
	@echo "Open demo/picture.png and demo/ticket.html; demo/drawing.svg is the drawing to load, check and test."

test: lint types rooms unit ## everything that is checked

lint: $(VENV)/.tested
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(VENV)/.tested
	$(BIN)/mypy

rooms: $(VENV)/.tested ## imports run one way only
	$(BIN)/lint-imports

unit: $(VENV)/.tested
	$(BIN)/pytest -n 2 -q

benchmarks: $(VENV)/.tested ## ratios against named baselines, measured in one run; not part of `make test`
	$(BIN)/pytest benchmarks -q -s -p no:randomly

gallery: $(VENV)/.ready ## every gallery job anew, picture and ticket beside it
	for job in gallery/*.toml; do $(BIN)/friezewright compose $$job -o gallery/$$(basename $$job .toml) || exit 1; done

motifs: $(VENV)/.tested ## draws the shipped motifs anew
	$(BIN)/python motifs/draw.py

system:
	PYTHON=$(PYTHON) sh tools/system.sh

$(VENV)/.ready: pyproject.toml constraints.txt tools/system.sh
	PYTHON=$(PYTHON) sh tools/system.sh
	$(PYTHON) -m venv $(VENV)
	$(PIP) install 'pip>=25.1'
	$(PIP) install -c constraints.txt -e .
	touch $@

$(VENV)/.tested: $(VENV)/.ready
	$(PIP) install -c constraints.txt --group test
	touch $@

clean:
	rm -rf $(VENV) build dist demo .pytest_cache .mypy_cache .ruff_cache
