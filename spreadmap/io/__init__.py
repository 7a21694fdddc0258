"""Every file that is opened or written; the only room that knows coordinate reference systems."""
