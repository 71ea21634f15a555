"""`python -m penult`."""

from penult.cli import main

if __name__ == "__main__":
    main()
