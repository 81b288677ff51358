"""``python -m tagkit`` is the command ``tagkit``."""

from tagkit.cli.main import main

main()
