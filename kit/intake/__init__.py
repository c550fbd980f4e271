"""The door in: an export becomes screened, cleaned tables, and nothing is lost on the way."""
