#!/usr/bin/env python
"""Django's command line for the register."""

import os
import sys

from django.core.management import execute_from_command_line

from shop.environment import WrongSetting

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
    try:
        execute_from_command_line(sys.argv)
    except WrongSetting as wrong:
        sys.exit(str(wrong))
