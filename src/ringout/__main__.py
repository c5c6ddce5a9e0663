"""`python -m ringout`: the same door as the command `ringout`."""

from ringout.cli import main

__all__: list[str] = []

if __name__ == "__main__":
    main()
