"""``python -m calib`` is the command ``calib``."""

from calib.show.command import main

if __name__ == "__main__":
    raise SystemExit(main())
