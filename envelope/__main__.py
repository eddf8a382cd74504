"""Run the command as `python -m envelope`."""

import sys

from .cli.main import main

sys.exit(main())
