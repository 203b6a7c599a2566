# Two commands for a newcomer: `make demo` and `make test`. Both make .venv first.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed

.PHONY: demo test bench install clean

demo: $(STAMP)
	$(BIN)/ampledger demo

test: $(VENV)/.installed-test
	$(BIN)/python -m pytest

bench: $(VENV)/.installed-test
	$(BIN)/python -m tests.benchmarks

$(STAMP): pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet -e .
	touch $@

$(VENV)/.installed-test: pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet -e '.[test]'
	touch $@ $(STAMP)

# On a board, as root: a virtual environment of its own, the units, a user. See docs/install.md.
install:
	$(PYTHON) -m venv /opt/ampledger
	/opt/ampledger/bin/python -m pip install --quiet .
	install -d -m 755 /etc/ampledger
	test -e /etc/ampledger/ampledger.toml || install -m 640 docs/example.toml /etc/ampledger/ampledger.toml
	install -m 644 systemd/*.service /etc/systemd/system/
	install -m 644 systemd/sysusers.conf /etc/sysusers.d/ampledger.conf
	systemd-sysusers /etc/sysusers.d/ampledger.conf
	chgrp ampledger /etc/ampledger/ampledger.toml
	systemctl daemon-reload
	@echo "Now run '/opt/ampledger/bin/ampledger setup --config /etc/ampledger/ampledger.toml' (or edit that file), then 'check' likewise,"
	@echo "then: systemctl enable --now ampledger ampledger-dashboard"

clean:
	rm -rf $(VENV) demo-data build dist .pytest_cache
