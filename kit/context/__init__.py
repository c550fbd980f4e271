"""What the answer stands beside: published studies, what care costs, and what to ask next."""
