"""`python -m fiftyover` is the same as the command `fiftyover`."""

from .cli import main

raise SystemExit(main())
