"""`python -m duskhold` is the command line."""

import sys

from duskhold.faces.cli import main

sys.exit(main())
