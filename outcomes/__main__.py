"""``python -m outcomes`` is the `outcomes` command."""

from outcomes.cli import run

if __name__ == "__main__":
    run()
