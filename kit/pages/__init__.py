"""Pages: what people see. Formatting happens here and nowhere below."""
