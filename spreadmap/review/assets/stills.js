"use strict";
/* The longest round length that fits into so many metres: its metres, and its words. */
function spreadmapScale(most, units) {
  const rounds = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000], foot = 0.3048, mile = 1609.344;
  const small = units === "us" ? foot : 1, large = units === "us" ? mile : 1000, step = units === "us" ? 2000 : 500;
  const near = rounds.filter((v) => v <= step).map((v) => ({ long: v * small, text: `${v} ${units === "us" ? "ft" : "m"}` }));
  const far = rounds.slice(0, 9).map((v) => ({ long: v * large, text: `${v} ${units === "us" ? "mi" : "km"}` }));
  return [...near, ...far].filter((one) => one.long <= most).pop() || near[0];
}

/* Print: every section gets a still map of its own, drawn once on opaque paper. */
function spreadmapStills(map, plants, overlay, views, page, style) {
  const WIDE = 660, HIGH = 290, RATIO = 2, GROUND = "#e9e9e5";
  const pictures = page.rasters.map((raster) => { const image = new Image(); image.src = raster.png; return image; });

  function frameOf(bounds) {
    const [[south, west], [north, east]] = bounds;
    const [left, bottom] = spreadmapUnit(west, south), [right, top] = spreadmapUnit(east, north);
    const most = 256 * Math.pow(2, 19.5), pad = 26;
    const scale = Math.min(most, (WIDE - 2 * pad) / Math.max(1e-9, right - left), (HIGH - 2 * pad) / Math.max(1e-9, bottom - top));
    const corner = { x: ((left + right) / 2) * scale - WIDE / 2, y: ((top + bottom) / 2) * scale - HIGH / 2 };
    return { scale, corner, wide: WIDE, high: HIGH, ratio: RATIO, zoom: Math.log2(scale / 256), still: true, latitude: (south + north) / 2 };
  }

  const point = ({ scale, corner }, [lon, lat]) => { const [x, y] = spreadmapUnit(lon, lat); return [x * scale - corner.x, y * scale - corner.y]; };

  function trace(frame, pen, geometry) {
    const ring = (line, close) => { line.forEach((at, k) => { const [x, y] = point(frame, at); k ? pen.lineTo(x, y) : pen.moveTo(x, y); }); if (close) pen.closePath(); };
    const kind = geometry.type, given = geometry.coordinates;
    if (kind === "GeometryCollection") geometry.geometries.forEach((one) => trace(frame, pen, one));
    else if (kind === "Polygon") given.forEach((line) => ring(line, true));
    else if (kind === "MultiPolygon") given.forEach((one) => one.forEach((line) => ring(line, true)));
    else if (kind === "LineString") ring(given, false);
    else if (kind === "MultiLineString") given.forEach((line) => ring(line, false));
  }

  function shapes(frame, layers, under) {
    const { pen } = frame;
    for (const shape of page.shapes) {
      if (!layers.has(shape.layer) || (shape.kind === "site") !== under) continue;
      const look = style(shape);
      pen.beginPath(); trace(frame, pen, shape.geometry);
      if (look.fill !== false && shape.kind !== "screen") {
        pen.globalAlpha = look.fillOpacity; pen.fillStyle = shape.ground === "unseen" ? spreadmapHatch(pen) : look.fillColor; pen.fill("evenodd"); pen.globalAlpha = 1;
      }
      pen.strokeStyle = look.color; pen.lineWidth = look.weight; pen.setLineDash((look.dashArray || "").split(" ").filter(Boolean).map(Number));
      pen.stroke(); pen.setLineDash([]);
    }
  }

  function furniture(frame, says) {
    const { pen } = frame, metres = (156543.03392 * Math.cos((frame.latitude * Math.PI) / 180)) / Math.pow(2, frame.zoom);
    const { long, text } = spreadmapScale(metres * 150, page.units);
    pen.fillStyle = "rgba(255,255,255,.88)"; pen.fillRect(8, HIGH - 24, long / metres + 16 + 50, 18);
    pen.strokeStyle = pen.fillStyle = "#1b2220"; pen.lineWidth = 1.5;
    pen.beginPath(); pen.moveTo(14, HIGH - 17); pen.lineTo(14, HIGH - 11); pen.lineTo(14 + long / metres, HIGH - 11); pen.lineTo(14 + long / metres, HIGH - 17); pen.stroke();
    pen.font = "11px 'Segoe UI', Arial, sans-serif"; pen.textBaseline = "middle"; pen.fillText(text, 20 + long / metres, HIGH - 14);
    pen.beginPath(); pen.moveTo(WIDE - 20, 10); pen.lineTo(WIDE - 14, 24); pen.lineTo(WIDE - 26, 24); pen.closePath(); pen.fill();
    pen.font = "700 12px 'Segoe UI', Arial, sans-serif"; pen.fillText(spreadmapWords("north"), WIDE - 24, 33);
    pen.strokeStyle = "#1b2220"; pen.lineWidth = 1; pen.strokeRect(0.5, 0.5, WIDE - 1, HIGH - 1);
  }

  function draw(key) {
    const view = views.view(key), canvas = document.createElement("canvas"), layers = new Set(view.layers);
    canvas.width = WIDE * RATIO; canvas.height = HIGH * RATIO;
    canvas.setAttribute("role", "img"); canvas.setAttribute("aria-label", view.says);
    const frame = frameOf(view.bounds || page.bounds), pen = (frame.pen = canvas.getContext("2d"));
    pen.setTransform(RATIO, 0, 0, RATIO, 0, 0);
    pen.fillStyle = GROUND; pen.fillRect(0, 0, WIDE, HIGH);
    shapes(frame, layers, true);
    page.rasters.forEach((raster, k) => {
      if (!layers.has(raster.layer) || !pictures[k].complete || !pictures[k].naturalWidth) return;
      const [[south, west], [north, east]] = raster.bounds, [x0, y0] = point(frame, [west, north]), [x1, y1] = point(frame, [east, south]);
      pen.imageSmoothingEnabled = false; pen.globalAlpha = 0.55; pen.drawImage(pictures[k], x0, y0, x1 - x0, y1 - y0); pen.globalAlpha = 1;
    });
    spreadmapGraticule(frame);
    shapes(frame, layers, false);
    if (plants && layers.has("plants")) {
      plants.paint(frame);
      const was = { ...overlay.shown };
      Object.assign(overlay.shown, { numbers: views.numbers(view.numbers), route: view.route, marked: view.marked });
      overlay.paint(frame);
      Object.assign(overlay.shown, was);
    }
    furniture(frame, view.says);
    return canvas;
  }

  function framed(key) {
    const figure = document.createElement("figure"), words = document.createElement("figcaption");
    figure.className = "still";
    words.textContent = `${views.view(key).says} ${page.attribution}.`.trim();
    figure.append(draw(key), words);
    return figure;
  }

  return {
    put() {
      const stage = document.querySelector(".stage"), bounds = page.bounds;
      if (stage && bounds) stage.prepend(framed("start"));
      for (const section of views.sections) {
        const view = views.view(section.dataset.view);
        if (!view.still || !(view.bounds || page.bounds)) continue;
        const figure = framed(section.dataset.view);
        const answer = section.querySelector(".answer");
        answer ? answer.after(figure) : section.append(figure);
      }
    },
    clear() { for (const figure of document.querySelectorAll("figure.still")) figure.remove(); },
    draw,
  };
}
