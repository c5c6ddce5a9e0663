"""`python -m ringout`: the same door as the command `ringout`."""

from ringout.cli import main

main()
