# Conveniences for those who have make; nothing needs it. The two commands are `python3 go.py study` and `python3 go.py test`.

PYTHON = python3
BIN = .venv/bin
LOCK = $(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes \
	-c requirements/constraints.in --custom-compile-command "make lock"

.PHONY: study check format lock

study:
	$(PYTHON) go.py study

check:
	$(PYTHON) go.py test

format:
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

# Keeps the versions already locked; `make lock UP=--upgrade` takes newer ones.
lock:
	$(LOCK) $(UP) requirements/uv.in -o requirements/uv.txt
	$(LOCK) $(UP) pyproject.toml --group build -o requirements/run.txt
	$(LOCK) $(UP) pyproject.toml --group build --group test --group lint -c requirements/run.txt -o requirements/dev.txt
	$(LOCK) $(UP) --group physics -c requirements/dev.txt -o requirements/physics.txt
