"""The page: hands over to calib.show."""

from calib.show.site import run

run()
