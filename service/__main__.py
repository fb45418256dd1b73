"""``python -m service`` is the command ``coldleg``."""

from service.cli import main

main()
