"""`python -m warmwatch` is the same as `warmwatch`."""

from warmwatch.commands.main import main

main()
