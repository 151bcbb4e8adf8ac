"""`python -m tapwright` is the same as the command `tapwright`."""

from tapwright.cli.app import main

if __name__ == "__main__":
    main()
