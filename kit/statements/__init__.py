"""What may be said: sentences built from results at run time. Each says how far it goes; none claims why."""
