"""Pages, JSON API and live picture: what the jobs do, on a screen."""
