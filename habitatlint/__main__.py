"""`python -m habitatlint`."""

from habitatlint.cli.main import main

main()
