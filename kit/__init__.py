"""Evidence and outcomes for wound-healing modality programs: whether wounds heal sooner, told honestly."""

__version__ = "0.1.0"
