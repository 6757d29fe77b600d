"""The page: hands over to calib.app."""

from calib.app.site import run

run()
