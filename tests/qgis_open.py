"""Opens a delivery in headless QGIS and prints what it sees as JSON. Runs under the Python that has QGIS, not under ours.

QT_QPA_PLATFORM=offscreen /usr/bin/python3 tests/qgis_open.py DELIVERY SYSTEM PICTURE.png
"""

import json
import os
import sys
from pathlib import Path

from qgis.core import (
    Qgis,
    QgsApplication,
    QgsCategorizedSymbolRenderer,
    QgsMapRendererSequentialJob,
    QgsMapSettings,
    QgsRasterLayer,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor

PLAIN = (".shp", ".geojson", ".kml", ".gpx")
DRAWN = ("zones", "inspection_list", "removal_list", "plants")
"""Layers of the picture, from the ground up."""


def style_of(layer):
    """Return how a layer is drawn: kind of renderer, field, and value, label and colour of each sign."""
    renderer = layer.renderer()
    said = {"renderer": renderer.type() if renderer else ""}
    if isinstance(renderer, QgsCategorizedSymbolRenderer):
        said["field"] = renderer.classAttribute()
        said["signs"] = [
            [str(each.value()), each.label(), each.symbol().color().name(), int(each.symbol().type())]
            for each in renderer.categories()
        ]
    return said


def seen(layer):
    """Return what a vector layer is: rows by counting them, fields, geometry, CRS, style."""
    return {
        "valid": layer.isValid(),
        "rows": sum(1 for _ in layer.getFeatures()),
        "fields": [field.name() for field in layer.fields()],
        "geometry": int(layer.geometryType()),
        "crs": layer.crs().authid(),
        "with_geometry": sum(1 for each in layer.getFeatures() if each.hasGeometry() and not each.geometry().isEmpty()),
        **style_of(layer),
    }


def with_sld(layer, path):
    """Return what the SLD beside a layer makes of it: label, filter and kind of symbol of each rule."""
    words, loaded = layer.loadSldStyle(str(path))
    rules = layer.renderer().rootRule().children() if loaded and layer.renderer().type() == "RuleRenderer" else []
    told = [[rule.label(), rule.filterExpression(), int(rule.symbol().type())] for rule in rules]
    return {"loaded": bool(loaded), "words": words, "rules": told}


def vectors(folder):
    """Yield name and layer of every layer in a folder."""
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.suffix == ".gpkg":
            whole = QgsVectorLayer(str(path), "all", "ogr")
            for each in list(whole.dataProvider().subLayers()):
                table = each.split("!!::!!")[1]
                yield f"{name}|{table}", QgsVectorLayer(f"{path}|layername={table}", table, "ogr")
        elif path.suffix == ".gpx":
            yield name, QgsVectorLayer(f"{path}|layername=waypoints", path.stem, "ogr")
        elif path.suffix in PLAIN:
            yield name, QgsVectorLayer(str(path), path.stem, "ogr")


def raster(path):
    """Return what a raster is, and in which colours it is drawn by the style that came with it."""
    layer = QgsRasterLayer(str(path), path.stem, "gdal")
    renderer = layer.renderer()
    said = {"valid": layer.isValid(), "size": [layer.width(), layer.height()], "crs": layer.crs().authid(),
            "renderer": renderer.type()}  # fmt: skip
    if renderer.type() == "singlebandpseudocolor":
        items = renderer.shader().rasterShaderFunction().colorRampItemList()
        said["classes"] = [[each.value if each.value < 1e300 else None, each.color.name()] for each in items]
    elif renderer.type() == "paletted":
        said["classes"] = [[each.value, each.color.name()] for each in renderer.classes()]
    return said


def draw(folder, system, picture):
    """Draw the layers of a system over its raster, each with the style it came with; return the colours counted."""
    ground = QgsRasterLayer(str(folder / system / "risk_class.tif"), "risk", "gdal")
    package = folder / system / f"{system}.gpkg"
    layers = [QgsVectorLayer(f"{package}|layername={name}", name, "ogr") for name in reversed(DRAWN)]
    settings = QgsMapSettings()
    settings.setLayers([*layers, ground])
    settings.setDestinationCrs(ground.crs())
    settings.setOutputSize(QSize(1200, 900))
    settings.setBackgroundColor(QColor("#ffffff"))
    extent = layers[0].extent()
    extent.grow(20)
    settings.setExtent(extent)
    job = QgsMapRendererSequentialJob(settings)
    job.start()
    job.waitForFinished()
    image = job.renderedImage()
    image.save(str(picture))
    counted = {}
    for row in range(image.height()):
        for col in range(image.width()):
            name = image.pixelColor(col, row).name()
            counted[name] = counted.get(name, 0) + 1
    return counted


def main(folder, system, picture):
    """Print everything."""
    app = QgsApplication([], False)
    app.initQgis()
    said = {"vectors": {}, "slds": {}, "rasters": {}}
    for name, layer in vectors(folder):
        said["vectors"][name] = seen(layer)
        sld = (folder / name.partition("|")[0]).with_suffix(".sld")
        if sld.exists() and "|" not in name and name.endswith(".shp"):
            said["slds"][name] = with_sld(layer, sld)
    for path in sorted(folder.rglob("*.tif")):
        said["rasters"][path.relative_to(folder).as_posix()] = raster(path)
    said["colours"] = draw(folder, system, picture)
    said["version"] = Qgis.QGIS_VERSION
    print(json.dumps(said))
    sys.stdout.flush()
    # the program's own end breaks down over layers that Python still holds
    os._exit(0)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], Path(sys.argv[3]))
