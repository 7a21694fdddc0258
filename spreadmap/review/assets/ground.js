"use strict";
/* Very many sites on one canvas: some that look alike are filled and outlined in one go. A click finds the one on top. */
function spreadmapGround(map, shapes, style) {
  /* more at one go take longer again: every line of pixels looks at all their edges; corners nearer than NEAR_PX are one */
  const SMALL_PX = 1.5, NEAR_PX = 1.2, AT_ONCE = 50, looks = new Map();

  /* Rings as places in the square of the world, outer ones turned one way and holes the other: overlaps stay filled. */
  function ringsOf(geometry) {
    const turned = (line, isHole) => {
      const at = new Float64Array(2 * line.length);
      let area = 0;
      line.forEach(([lon, lat], k) => { const [x, y] = spreadmapUnit(lon, lat); at[2 * k] = x; at[2 * k + 1] = y; });
      for (let k = 0; k < line.length; k++) {
        const n = (k + 1) % line.length;
        area += at[2 * k] * at[2 * n + 1] - at[2 * n] * at[2 * k + 1];
      }
      if (area > 0 === isHole) {
        const back = new Float64Array(at.length);
        for (let k = 0; k < line.length; k++) { back[2 * k] = at[at.length - 2 * k - 2]; back[2 * k + 1] = at[at.length - 2 * k - 1]; }
        return back;
      }
      return at;
    };
    if (geometry.type === "Polygon") return geometry.coordinates.map((line, k) => turned(line, k > 0));
    if (geometry.type === "MultiPolygon") return geometry.coordinates.flatMap((one) => one.map((line, k) => turned(line, k > 0)));
    return (geometry.geometries || []).flatMap(ringsOf);
  }

  function boxOf(rings) {
    const box = [Infinity, Infinity, -Infinity, -Infinity];
    for (const ring of rings) for (let k = 0; k < ring.length; k += 2) {
      box[0] = Math.min(box[0], ring[k]); box[1] = Math.min(box[1], ring[k + 1]);
      box[2] = Math.max(box[2], ring[k]); box[3] = Math.max(box[3], ring[k + 1]);
    }
    return box;
  }

  const every = shapes.map((shape) => {
    const look = style(shape), key = `${shape.ground} ${JSON.stringify(look)}`, rings = ringsOf(shape.geometry), one = { shape, rings, box: boxOf(rings) };
    if (!looks.has(key)) looks.set(key, { look, isHatched: shape.ground === "unseen", of: [] });
    looks.get(key).of.push(one);
    return one;
  });
  const latLng = (x, y) => L.latLng((Math.atan(Math.sinh(Math.PI * (1 - 2 * y))) * 180) / Math.PI, x * 360 - 180);

  function paint({ pen, scale, corner, wide, high }) {
    const left = corner.x / scale, top = corner.y / scale, right = (corner.x + wide) / scale, bottom = (corner.y + high) / scale;
    for (const { look, isHatched, of } of looks.values()) {
      const fill = isHatched ? spreadmapHatch(pen) : look.fillColor;
      let held = 0;
      const put = () => {
        pen.globalAlpha = look.fillOpacity; pen.fillStyle = fill; pen.fill();
        pen.globalAlpha = 1; pen.strokeStyle = look.color; pen.lineWidth = look.weight; pen.stroke();
        pen.beginPath();
        held = 0;
      };
      pen.beginPath();
      for (const { rings, box } of of) {
        if (box[0] > right || box[2] < left || box[1] > bottom || box[3] < top) continue;
        const w = (box[2] - box[0]) * scale, h = (box[3] - box[1]) * scale;
        if (w < SMALL_PX && h < SMALL_PX) { pen.rect(box[0] * scale - corner.x, box[1] * scale - corner.y, 1, 1); continue; }
        for (const ring of rings) trace(pen, ring, scale, corner);
        if (++held >= AT_ONCE) put();
      }
      put();
    }
  }

  function trace(pen, ring, scale, corner) {
    let x = ring[0] * scale - corner.x, y = ring[1] * scale - corner.y;
    pen.moveTo(x, y);
    for (let k = 2; k < ring.length; k += 2) {
      const toX = ring[k] * scale - corner.x, toY = ring[k + 1] * scale - corner.y;
      if (Math.abs(toX - x) < NEAR_PX && Math.abs(toY - y) < NEAR_PX) continue;
      x = toX; y = toY;
      pen.lineTo(x, y);
    }
    pen.closePath();
  }

  function covers(rings, x, y) {
    let inside = false;
    for (const ring of rings) for (let k = 0, j = ring.length - 2; k < ring.length; j = k, k += 2) {
      if (ring[k + 1] > y !== ring[j + 1] > y && x < ((ring[j] - ring[k]) * (y - ring[k + 1])) / (ring[j + 1] - ring[k + 1]) + ring[k]) inside = !inside;
    }
    return inside;
  }

  for (const one of every) {
    const [west, north, east, south] = one.box;
    one.shape.drawn = { getBounds: () => L.latLngBounds(latLng(west, south), latLng(east, north)) };
  }
  return {
    layer: spreadmapCanvas(map, "sites", 241, "sites-canvas", paint),
    /* the shape on top at a place; undefined where there is none */
    at({ lat, lng }) {
      const [x, y] = spreadmapUnit(lng, lat);
      return every.findLast(({ rings, box }) => x >= box[0] && x <= box[2] && y >= box[1] && y <= box[3] && covers(rings, x, y))?.shape;
    },
  };
}

/* Lines aslant, for ground on which nobody ever looked. */
function spreadmapHatch(pen) {
  const tile = document.createElement("canvas");
  tile.width = tile.height = 7;
  const ink = tile.getContext("2d");
  ink.strokeStyle = "#6f7672"; ink.lineWidth = 1; ink.beginPath(); ink.moveTo(-1, 8); ink.lineTo(8, -1); ink.stroke();
  return pen.createPattern(tile, "repeat");
}
