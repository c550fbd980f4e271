"""One record per wound: its stages, its episode, its regimen and its weeks."""
