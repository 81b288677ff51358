"""Pictures to tags: sources, decoders, the cascade over them, tracking over frames."""
