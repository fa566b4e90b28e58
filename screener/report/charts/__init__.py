"""The pictures: pure functions from frames to `svg.Chart`, one a file."""
