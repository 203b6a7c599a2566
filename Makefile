# Two commands for a newcomer: `make demo` and `make test`. Both make .venv first.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed
# Compiled once, not anew by every process that a test starts.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: demo check test test-long test-board bench golden deb install uninstall clean

demo: $(STAMP)
	$(BIN)/ampledger demo $(ARGS)

# What a change must pass within a minute: arrows, published values, and every test that is quick.
check: $(VENV)/.installed-test
	$(BIN)/ruff check --quiet .
	@# one core checks types while the other compiles the tests once, which each worker would do for itself
	$(BIN)/mypy & types=$$!; $(BIN)/python -m pytest --collect-only -qq -n 0 >/dev/null; wait $$types
	$(BIN)/python -m pytest -q -n auto -p no:schemathesis -m "not slow and not browser and not board"

# Everything: the check, then what takes long.
test: check
	$(BIN)/python -m pytest -n 4 -m "(slow or browser) and not board and not long"

# Every recording and half a year of life against what is kept of them: whoever changes a tracker runs it, with `make golden` before.
test-long: $(VENV)/.installed-test
	$(BIN)/python -m pytest -n auto -m long

# The package on a bare Debian 12 and 13: as root, with mmdebstrap, systemd-container, lintian and a network. Some ten minutes.
test-board: $(VENV)/.installed-test
	$(BIN)/python -m pytest -m board tests/board

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

# One file to carry to a board: dist/ampledger_VERSION_ARCH.deb, and the wheel. make deb ARCH="amd64 arm64 armhf"
deb: $(STAMP)
	$(BIN)/python deb/build.py $(if $(ARCH),--arch $(ARCH))

# On a board with a network, as root, from a checkout: the files of the package, put in place by hand. See docs/install.md.
install: $(STAMP)
	@! dpkg-query -W -f='$${Status}' ampledger 2>/dev/null | grep -q 'ok installed' || { echo "ampledger is installed as a package here; upgrade that, or remove it first: apt remove ampledger"; exit 1; }
	$(BIN)/python deb/build.py --tree-only
	rm -rf $(DESTDIR)/opt/ampledger
	cp -a --no-preserve=ownership build/tree/$$($(BIN)/python deb/build.py --print-arch)/. $(DESTDIR)/
	$(if $(DESTDIR),@echo "In place below $(DESTDIR). On the board: sh postinst configure",sh deb/postinst configure)

uninstall:
	sh deb/prerm remove
	rm -rf /opt/ampledger /usr/bin/ampledger /usr/lib/systemd/system/ampledger*.service /usr/lib/sysusers.d/ampledger.conf /usr/share/doc/ampledger \
	  /usr/share/man/man1/ampledger.1.gz /usr/share/bash-completion/completions/ampledger /usr/share/zsh/vendor-completions/_ampledger /usr/share/fish/vendor_completions.d/ampledger.fish
	sh deb/postrm remove
	@echo "The configuration stays in /etc/ampledger, the log in /var/lib/ampledger."

# What the trackers conclude from every recording and simulated life, written anew: see tests/golden.
golden: $(VENV)/.installed-test
	$(BIN)/python -m tests.golden

clean:
	rm -rf $(VENV) demo-data build dist .pytest_cache .mypy_cache .ruff_cache
