"""`python -m dawnbeat`: the same as the command `dawnbeat`."""

from __future__ import annotations

from dawnbeat.ui.main import main

if __name__ == "__main__":
    main()
