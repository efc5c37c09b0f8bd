"""`python -m unfold` is the `unfold` command."""

import sys

from unfold.cli import main

sys.exit(main())
