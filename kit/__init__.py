"""Evidence and outcomes for wound-healing modality programs: whether wounds heal sooner, told honestly."""
