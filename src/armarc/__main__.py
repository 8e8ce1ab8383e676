"""``python -m armarc``."""

from armarc.cli import main

main()
