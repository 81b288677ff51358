"""A station on a screen: its camera, its conversation, its presses."""
