"""`python -m cli` is the same as `tapwright`."""

from cli.app import main

if __name__ == "__main__":
    main()
