"""From a box of parts to a build that was tried: guided steps, calibration, certificate."""
