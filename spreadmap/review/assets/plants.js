"use strict";
/* Plants as pixels on one canvas. Numbers and words come deflated; words reach the page through textContent only. */
function spreadmapPlants(map, packed) {
  const SYNTHETIC = 128, NO_CLASS = 255, REACH_PX = 14, MANY = 9000, NUMBERED_ZOOM = 16.5;
  const marks = packed.marks;
  const state = { count: packed.count, words: null, x: null, y: null, row: null, status: null, level: null, selected: -1 };

  async function inflate(text) {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    return new Response(stream).arrayBuffer();
  }

  function sprite(mark, size, synthetic, ratio) {
    const canvas = document.createElement("canvas"), side = Math.ceil((size + 4) * ratio);
    canvas.width = canvas.height = side;
    const pen = canvas.getContext("2d");
    pen.scale(ratio, ratio);
    const c = side / ratio / 2, h = size / 2;
    pen.lineJoin = "round";
    const path = new Path2D();
    if (mark.shape === "square") path.rect(c - h * 0.88, c - h * 0.88, h * 1.76, h * 1.76);
    else if (mark.shape === "triangle") { path.moveTo(c, c - h); path.lineTo(c + h, c + h * 0.8); path.lineTo(c - h, c + h * 0.8); path.closePath(); }
    else if (mark.shape === "dot") path.arc(c, c, h * 0.72, 0, 7);
    else if (mark.shape === "ring") path.arc(c, c, h * 0.66, 0, 7);
    else if (mark.shape === "bar") path.rect(c - h, c - h * 0.42, h * 2, h * 0.84);
    else if (mark.shape === "speck") path.arc(c, c, Math.max(0.8, h * 0.35), 0, 7);
    else if (mark.shape === "cross") { const k = h * 0.75; path.moveTo(c - k, c - k); path.lineTo(c + k, c + k); path.moveTo(c + k, c - k); path.lineTo(c - k, c + k); }
    else { path.moveTo(c, c - h); path.lineTo(c, c + h); path.moveTo(c - h, c); path.lineTo(c + h, c); }
    const open = mark.shape === "ring" || mark.shape === "cross" || mark.shape === "plus";
    if (open) {
      pen.strokeStyle = "rgba(255,255,255,.9)"; pen.lineWidth = Math.max(2.4, size * 0.34); pen.stroke(path);
      pen.strokeStyle = mark.colour; pen.lineWidth = Math.max(1.2, size * 0.17); pen.stroke(path);
    } else {
      pen.fillStyle = mark.colour; pen.fill(path);
      pen.strokeStyle = mark.shape === "square" || mark.shape === "triangle" ? "#1d1d1d" : "#fff";
      pen.lineWidth = 1;
      if (mark.shape !== "speck" && size > 7) pen.stroke(path);
    }
    if (synthetic && size >= 6 && mark.shape !== "speck") {
      pen.beginPath(); pen.arc(c, c + (mark.shape === "triangle" ? h * 0.25 : 0), Math.max(1, size * 0.16), 0, 7);
      pen.fillStyle = open ? mark.colour : "#fff"; pen.fill();
    }
    return canvas;
  }

  const Layer = L.Layer.extend({
    onAdd() {
      this._canvas = L.DomUtil.create("canvas", "leaflet-zoom-animated plants-canvas");
      this._canvas.setAttribute("aria-hidden", "true");
      map.getPane("plants").appendChild(this._canvas);
      this._draw();
    },
    onRemove() { this._canvas.remove(); },
    getEvents() {
      return { moveend: this._draw, resize: this._draw, zoomanim: this._animate };
    },
    _animate(event) {
      const scale = map.getZoomScale(event.zoom, this._zoom);
      const offset = map._latLngToNewLayerPoint(this._corner, event.zoom, event.center);
      L.DomUtil.setTransform(this._canvas, offset, scale);
    },
    _draw() {
      if (!this._canvas) return;
      const size = map.getSize(), pad = size.multiplyBy(0.15).round(), ratio = Math.min(2, window.devicePixelRatio || 1);
      const wide = size.x + 2 * pad.x, high = size.y + 2 * pad.y, canvas = this._canvas;
      const origin = map.containerPointToLayerPoint(pad.multiplyBy(-1));
      this._corner = map.layerPointToLatLng(origin);
      this._zoom = map.getZoom();
      L.DomUtil.setTransform(canvas, origin, 1);
      canvas.width = Math.round(wide * ratio); canvas.height = Math.round(high * ratio);
      canvas.style.width = wide + "px"; canvas.style.height = high + "px";
      if (!state.x) return;
      const pen = canvas.getContext("2d");
      const zoom = this._zoom, scale = 256 * Math.pow(2, zoom);
      const corner = map.getPixelOrigin().add(origin);
      const px = state.x, py = state.y, n = state.count;
      let seen = 0;
      const left = corner.x / scale, right = (corner.x + wide) / scale, top = corner.y / scale, bottom = (corner.y + high) / scale;
      for (let i = 0; i < n; i++) if (px[i] > left && px[i] < right && py[i] > top && py[i] < bottom) seen++;
      const many = seen > MANY;
      const small = Math.max(4, Math.min(15, 4 + (zoom - 15) * 1.8)), large = Math.max(8, small + 2.5);
      if (many) this._pixels(pen, canvas, scale, corner, ratio, small);
      const sprites = {};
      pen.setTransform(1, 0, 0, 1, 0, 0);
      for (let i = 0; i < n; i++) {
        if (!(px[i] > left && px[i] < right && py[i] > top && py[i] < bottom)) continue;
        const code = state.status[i] & ~SYNTHETIC;
        if (many && !marks[code].urgent) continue;
        const key = state.status[i];
        const image = sprites[key] || (sprites[key] = sprite(marks[code], marks[code].urgent ? large : small, (key & SYNTHETIC) > 0, ratio));
        pen.drawImage(image, Math.round((px[i] * scale - corner.x) * ratio - image.width / 2), Math.round((py[i] * scale - corner.y) * ratio - image.height / 2));
      }
      pen.setTransform(ratio, 0, 0, ratio, 0, 0);
      if (zoom >= NUMBERED_ZOOM) this._numbers(pen, scale, corner, large);
      this._selection(pen, scale, corner, large);
    },
    _pixels(pen, canvas, scale, corner, ratio, small) {
      /* one write per plant instead of one picture: what keeps a hundred thousand plants moving */
      const image = pen.createImageData(canvas.width, canvas.height), out = new Uint32Array(image.data.buffer);
      const block = Math.max(2, Math.round((small - 1) * ratio)), half = block >> 1, w = canvas.width, h = canvas.height;
      const ink = marks.map((m) => { const v = parseInt(m.colour.slice(1), 16); return (255 << 24) | ((v & 255) << 16) | (v & 0xff00) | (v >> 16); });
      for (let i = 0; i < state.count; i++) {
        const code = state.status[i] & ~SYNTHETIC;
        if (marks[code].urgent) continue;
        const x = Math.round((state.x[i] * scale - corner.x) * ratio) - half, y = Math.round((state.y[i] * scale - corner.y) * ratio) - half;
        if (x < 0 || y < 0 || x + block >= w || y + block >= h) continue;
        const hollow = marks[code].shape === "ring" && block > 3;
        for (let r = 0; r < block; r++) for (let c = 0; c < block; c++) {
          if (hollow && r > 0 && c > 0 && r < block - 1 && c < block - 1) continue;
          out[(y + r) * w + x + c] = ink[code];
        }
      }
      pen.putImageData(image, 0, 0);
    },
    _numbers(pen, scale, corner, large) {
      pen.font = "600 11px 'Segoe UI', 'Helvetica Neue', Arial, sans-serif";
      pen.textBaseline = "middle"; pen.lineWidth = 3; pen.strokeStyle = "#fff"; pen.fillStyle = "#1d1d1d";
      const taken = [];
      for (const i of state.ranked) {
        const x = state.x[i] * scale - corner.x + large * 0.75, y = state.y[i] * scale - corner.y;
        const text = String(packed.rank[state.row[i]]);
        if (taken.some((t) => Math.abs(t[0] - x) < 9 + 6 * text.length && Math.abs(t[1] - y) < 12)) continue;
        taken.push([x, y]);
        pen.strokeText(text, x, y); pen.fillText(text, x, y);
      }
    },
    _selection(pen, scale, corner, large) {
      if (state.selected < 0) return;
      const x = state.x[state.selected] * scale - corner.x, y = state.y[state.selected] * scale - corner.y;
      pen.beginPath(); pen.arc(x, y, large + 2, 0, 7); pen.lineWidth = 4; pen.strokeStyle = "#fff"; pen.stroke();
      pen.lineWidth = 2; pen.strokeStyle = "#14413d"; pen.stroke();
    },
  });

  map.createPane("plants").style.zIndex = 450;
  map.getPane("plants").style.pointerEvents = "none";
  const layer = new Layer().addTo(map);

  function place(i) {
    const n = Math.PI * (1 - 2 * state.y[i]);
    return L.latLng((Math.atan(Math.sinh(n)) * 180) / Math.PI, state.x[i] * 360 - 180);
  }

  function nearest(point) {
    const scale = 256 * Math.pow(2, map.getZoom()), at = map.getPixelOrigin().add(point);
    let best = -1, least = REACH_PX * REACH_PX;
    for (let i = 0; i < state.count; i++) {
      const dx = state.x[i] * scale - at.x, dy = state.y[i] * scale - at.y, d = dx * dx + dy * dy;
      if (d < least || (d === least && i > best)) { least = d; best = i; }
    }
    return best;
  }

  function line(list, name, text) {
    if (text === undefined || text === null || text === "") return;
    const term = document.createElement("dt"), said = document.createElement("dd");
    term.textContent = name; said.textContent = text;
    list.append(term, said);
  }

  function card(i) {
    const row = state.row[i], words = state.words, box = document.createElement("div"), list = document.createElement("dl");
    const title = document.createElement("p");
    title.className = "card-title";
    title.textContent = words.key[row];
    if (packed.rank[row] !== undefined) line(list, "Order of removal", packed.rank[row]);
    for (const [name, column] of words.repeated) line(list, name, column.words[column.index[row]]);
    if (state.level[i] !== NO_CLASS) line(list, "Relative infection pressure", packed.classLabels[state.level[i]]);
    for (const [name, texts] of words.sparse) line(list, name, texts[row]);
    if (state.status[i] & SYNTHETIC) line(list, "Position", "synthetic: spread over a bed with a count, not surveyed");
    box.className = "card";
    box.append(title, list);
    return box;
  }

  function open(i) {
    state.selected = i;
    layer._draw();
    L.popup({ minWidth: 250, maxWidth: 320, autoPanPaddingTopLeft: [60, 12], autoPanPaddingBottomRight: [40, 12] }).setLatLng(place(i)).setContent(card(i)).openOn(map);
  }

  map.on("click", (event) => {
    if (!state.words) return;
    const i = nearest(event.layerPoint);
    if (i >= 0) open(i);
  });
  map.on("popupclose", () => { state.selected = -1; layer._draw(); });

  const ready = (async () => {
    const [numbers, text] = await Promise.all([inflate(packed.numbers), inflate(packed.words)]);
    const n = packed.count, lon = new Int32Array(numbers, 0, n), lat = new Int32Array(numbers, 4 * n, n);
    state.row = new Uint32Array(numbers, 8 * n, n);
    state.status = new Uint8Array(numbers, 12 * n, n);
    state.level = new Uint8Array(numbers, 13 * n, n);
    state.words = JSON.parse(new TextDecoder().decode(text));
    const x = new Float64Array(n), y = new Float64Array(n);
    state.at = new Int32Array(n);
    for (let i = 0; i < n; i++) {
      const s = Math.sin((lat[i] * 1e-6 * Math.PI) / 180);
      x[i] = (lon[i] * 1e-6 + 180) / 360;
      y[i] = 0.5 - Math.log((1 + s) / (1 - s)) / (4 * Math.PI);
      state.at[state.row[i]] = i;
    }
    state.x = x; state.y = y;
    state.ranked = Object.keys(packed.rank).map((row) => state.at[row]).sort((a, b) => packed.rank[state.row[a]] - packed.rank[state.row[b]]);
    layer._draw();
  })();

  return {
    ready,
    layer,
    isNear(point) { return state.words !== null && nearest(point) >= 0; },
    /* a canvas is printed without its clear parts and would hide the map under it; a picture of it is not */
    still() {
      layer._draw();
      const image = new Image();
      image.alt = "";
      image.className = "leaflet-zoom-animated plants-still";
      image.src = layer._canvas.toDataURL();
      image.style.cssText = layer._canvas.style.cssText;
      layer._canvas.after(image);
      layer._canvas.style.display = "none";
    },
    live() {
      for (const image of map.getPane("plants").querySelectorAll("img")) image.remove();
      layer._canvas.style.display = "";
    },
    screenPoint(row) { return map.latLngToContainerPoint(place(state.at[row])); },
    show(row) {
      const i = state.at[row];
      map.setView(place(i), Math.max(map.getZoom(), 18.5), { animate: false });
      open(i);
    },
  };
}
