"""`python -m hidescan` is the command line."""

from hidescan.cli.app import main

if __name__ == "__main__":
    main()
