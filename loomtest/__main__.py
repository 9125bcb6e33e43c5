"""`python -m loomtest` is the same as `loomtest`."""

from loomtest.commands import main

main()
