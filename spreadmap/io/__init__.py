"""Every file that is opened or written; the only room that knows coordinate reference systems."""

import spreadmap.io.guard  # noqa: F401 - restricts GDAL's drivers, so it comes before every reader
