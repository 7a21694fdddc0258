"use strict";
/* A canvas that lies on the map and follows it; `paint` gets a frame: where the map is, how wide, how sharp. */
function spreadmapCanvas(map, pane, order, name, paint, isIdle = null) {
  const Layer = L.Layer.extend({
    onAdd() {
      this._canvas = L.DomUtil.create("canvas", `leaflet-zoom-animated ${name}`);
      this._canvas.setAttribute("aria-hidden", "true");
      map.getPane(pane).appendChild(this._canvas);
      this.redraw();
    },
    onRemove() { this._canvas.remove(); this._canvas = null; },
    getEvents() {
      return { moveend: this.redraw, resize: this.redraw, zoomanim: this._animate };
    },
    _animate(event) {
      if (!this._corner) return;
      const scale = map.getZoomScale(event.zoom, this._zoom);
      const offset = map._latLngToNewLayerPoint(this._corner, event.zoom, event.center);
      L.DomUtil.setTransform(this._canvas, offset, scale);
    },
    redraw() {
      if (!this._canvas) return;
      /* an empty canvas costs as much to move as a full one */
      const idle = isIdle !== null && isIdle();
      this._canvas.style.display = idle ? "none" : "";
      if (idle) return;
      const size = map.getSize(), pad = size.multiplyBy(0.15).round(), ratio = Math.min(2, window.devicePixelRatio || 1);
      const wide = size.x + 2 * pad.x, high = size.y + 2 * pad.y, canvas = this._canvas;
      const origin = map.containerPointToLayerPoint(pad.multiplyBy(-1));
      this._corner = map.layerPointToLatLng(origin);
      this._zoom = map.getZoom();
      L.DomUtil.setTransform(canvas, origin, 1);
      canvas.width = Math.round(wide * ratio); canvas.height = Math.round(high * ratio);
      canvas.style.width = wide + "px"; canvas.style.height = high + "px";
      const pen = canvas.getContext("2d");
      pen.setTransform(ratio, 0, 0, ratio, 0, 0);
      paint({ pen, scale: 256 * Math.pow(2, this._zoom), corner: map.getPixelOrigin().add(origin), wide, high, ratio, zoom: this._zoom, still: false });
    },
  });
  map.createPane(pane).style.zIndex = order;
  map.getPane(pane).style.pointerEvents = "none";
  return new Layer();
}

/* Longitude and latitude as a place in the square of the world, 0 to 1. */
function spreadmapUnit(lon, lat) {
  const s = Math.sin((lat * Math.PI) / 180);
  return [(lon + 180) / 360, 0.5 - Math.log((1 + s) / (1 - s)) / (4 * Math.PI)];
}

/* Lines of whole parts of a degree, with their figures at the edge. */
function spreadmapGraticule(frame) {
  const { pen, scale, corner, wide, high } = frame;
  const lon = (px) => ((corner.x + px) / scale) * 360 - 180;
  const lat = (py) => (Math.atan(Math.sinh(Math.PI * (1 - (2 * (corner.y + py)) / scale))) * 180) / Math.PI;
  const least = ((lon(wide) - lon(0)) * 170) / wide;
  const step = [10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001, 0.0005].filter((s) => s >= least).pop() || 10;
  const places = Math.max(0, Math.ceil(-Math.log10(step) - 1e-9)), said = (v, plus, minus) => `${Math.abs(v).toFixed(places)}° ${v < 0 ? minus : plus}`;
  const inset = frame.still ? 0 : 0.15 / 1.3;
  pen.save();
  pen.strokeStyle = "rgba(70,75,72,.32)"; pen.fillStyle = "#4c5551"; pen.lineWidth = 0.7; pen.font = "10px 'Segoe UI', Arial, sans-serif";
  pen.beginPath();
  for (let v = Math.ceil(lon(0) / step) * step; v < lon(wide); v += step) {
    const x = spreadmapUnit(v, 0)[0] * scale - corner.x;
    pen.moveTo(x, 0); pen.lineTo(x, high);
    pen.fillText(said(v, spreadmapWords("east"), spreadmapWords("west")), x + 3, high * (1 - inset) - (frame.still ? 26 : 30));
  }
  for (let v = Math.ceil(lat(high) / step) * step; v < lat(0); v += step) {
    const y = spreadmapUnit(0, v)[1] * scale - corner.y;
    pen.moveTo(0, y); pen.lineTo(wide, y);
    pen.fillText(said(v, spreadmapWords("north"), spreadmapWords("south")), wide * (1 - inset) - 58, y - 3);
  }
  pen.stroke();
  pen.restore();
}
