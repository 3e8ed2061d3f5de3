"""``python -m trivet`` is the command line."""

from trivet.cli import main

if __name__ == "__main__":
    main()
