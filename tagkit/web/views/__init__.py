"""What pages show, made from what jobs answer: page-shaped data, no rules."""
