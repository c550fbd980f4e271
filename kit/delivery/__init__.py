"""What was delivered: dose, agreement with the protocol, comfort, safety, burden, and what to look at this week."""
