# Two commands: `make demo` shows what the tool makes of a scan, `make test` checks the tool.
PYTHON ?= python3.11
VENV := .venv
INSTALLED := $(VENV)/.installed

.PHONY: demo test accuracy bench clean

demo: $(INSTALLED)
	$(VENV)/bin/unfold run scans/ferry_terminal_ticket_hall.e57 --out demo-job
	@echo "report:    demo-job/report.html"
	@echo "pictures:  demo-job/heatmaps/*.png  demo-job/drawings/plan.png"
	@echo "drawings:  demo-job/drawings/*.dxf  demo-job/cut/*.dxf"

test: $(INSTALLED)
	$(VENV)/bin/ruff check .
	$(VENV)/bin/mypy
	$(VENV)/bin/python -m pytest

accuracy: $(INSTALLED)
	$(VENV)/bin/python -m tests.accuracy --rooms all --seeds 5 --spacing-mm 6 --processes 2 --out docs/accuracy.md
	$(VENV)/bin/python -m tests.accuracy --rooms all --seeds 5 --spacing-mm 6 --processes 2 --profile handheld --out docs/accuracy.md --add
	$(VENV)/bin/python -m tests.accuracy --rooms random_0-59 --seeds 1 --spacing-mm 6 --processes 2 --out docs/accuracy.md --add
	$(VENV)/bin/python -m tests.accuracy --rooms rims_0-15 --seeds 1 --spacing-mm 6 --processes 2 --out docs/accuracy.md --add

bench: $(INSTALLED)
	$(VENV)/bin/unfold bench --out docs/performance.md

$(INSTALLED): pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(VENV)/bin/python -m pip install --quiet --upgrade pip
	$(VENV)/bin/python -m pip install --quiet --editable '.[test]'
	touch $@

clean:
	rm -rf $(VENV) demo-job
