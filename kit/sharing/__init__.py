"""What may leave the building: the numbers of the shareable sheet, and what a reader could work out from them."""
