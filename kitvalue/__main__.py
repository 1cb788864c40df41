"""`python -m kitvalue`."""

from kitvalue.cli import main

if __name__ == "__main__":
    main(prog_name="kitvalue")
