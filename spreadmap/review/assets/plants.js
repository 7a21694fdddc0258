"use strict";
/* Plants as pixels on one canvas. Numbers and words come deflated; words reach the page through textContent only. */
function spreadmapPlants(map, packed) {
  /* above MANY plants in sight none gets a picture of its own; further out than GRID_ZOOM a square says the worst of it */
  const SYNTHETIC = 128, NO_CLASS = 255, REACH_PX = 14, MANY = 9000, GRID_ZOOM = 15, GRID_PX = 8, SAME_PX = 2;
  const say = spreadmapWords, marks = packed.marks, unseen = marks.findIndex((mark) => mark.hatched);
  const state = { count: packed.count, words: null, x: null, y: null, row: null, now: null, before: null, status: null, order: null, level: null, selected: -1 };

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

  function sizes(zoom) {
    const small = Math.max(4, Math.min(15, 4 + (zoom - 15) * 1.8));
    return [small, Math.max(8, small + 2.5)];
  }

  function hatching(pen) {
    const tile = document.createElement("canvas");
    tile.width = tile.height = 6;
    const ink = tile.getContext("2d");
    ink.strokeStyle = "#55605c"; ink.lineWidth = 1.1;
    ink.beginPath();
    for (const at of [-6, 0, 6]) { ink.moveTo(at - 1, 7); ink.lineTo(at + 7, -1); }
    ink.stroke();
    return pen.createPattern(tile, "repeat");
  }

  /* Draws all plants into a frame of the map: on the screen, and on the still maps of a print. */
  function paint(frame) {
    const { pen, scale, corner, wide, high, ratio, zoom } = frame;
    const px = state.x, py = state.y, n = state.count, order = state.order;
    const left = corner.x / scale, right = (corner.x + wide) / scale, top = corner.y / scale, bottom = (corner.y + high) / scale;
    const sees = (i) => px[i] > left && px[i] < right && py[i] > top && py[i] < bottom;
    let seen = 0;
    for (let i = 0; i < n; i++) if (sees(i)) seen++;
    const many = seen > MANY, how = many ? (zoom < GRID_ZOOM ? "grid" : "pixels") : "symbols";
    const [small, large] = sizes(zoom);
    if (how === "grid") worst(frame, sees);
    if (how === "pixels") pixels(frame, small);
    const sprites = {};
    if (how === "symbols" && unseen >= 0) {
      pen.setTransform(ratio, 0, 0, ratio, 0, 0);
      pen.fillStyle = hatching(pen);
      for (let i = 0; i < n; i++) {
        if ((state.status[i] & ~SYNTHETIC) !== unseen || !sees(i)) continue;
        pen.beginPath(); pen.arc(px[i] * scale - corner.x, py[i] * scale - corner.y, large + 3, 0, 7); pen.fill();
      }
    }
    pen.setTransform(1, 0, 0, 1, 0, 0);
    /* a mark on the very place of one like it changes nothing: crowds of confirmed plants are drawn once a place */
    const cols = Math.ceil(wide / SAME_PX), taken = many ? new Uint8Array(cols * Math.ceil(high / SAME_PX)) : null;
    for (let k = 0; k < n; k++) {
      const i = order ? order[k] : k, key = state.status[i], code = key & ~SYNTHETIC;
      if ((many && !marks[code].urgent) || !sees(i)) continue;
      if (many) {
        const at = Math.floor((py[i] * scale - corner.y) / SAME_PX) * cols + Math.floor((px[i] * scale - corner.x) / SAME_PX);
        if (taken[at] === key + 1) continue;
        taken[at] = key + 1;
      }
      const image = sprites[key] || (sprites[key] = sprite(marks[code], marks[code].urgent ? large : small, (key & SYNTHETIC) > 0, ratio));
      pen.drawImage(image, Math.round((px[i] * scale - corner.x) * ratio - image.width / 2), Math.round((py[i] * scale - corner.y) * ratio - image.height / 2));
    }
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    return how;
  }

  function worst({ pen, scale, corner, wide, high, ratio }, sees) {
    const cols = Math.ceil(wide / GRID_PX), rows = Math.ceil(high / GRID_PX), cells = new Uint8Array(cols * rows);
    for (let i = 0; i < state.count; i++) {
      if (!sees(i)) continue;
      const at = Math.floor((state.y[i] * scale - corner.y) / GRID_PX) * cols + Math.floor((state.x[i] * scale - corner.x) / GRID_PX);
      const weight = marks[state.status[i] & ~SYNTHETIC].weight;
      if (weight > cells[at]) cells[at] = weight;
    }
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    const lines = hatching(pen);
    for (let at = 0; at < cells.length; at++) {
      if (!cells[at]) continue;
      const x = (at % cols) * GRID_PX, y = Math.floor(at / cols) * GRID_PX;
      const mark = marks.find((one) => one.weight === cells[at]);
      pen.fillStyle = mark.hatched ? lines : mark.colour;
      pen.fillRect(x, y, GRID_PX - 1, GRID_PX - 1);
    }
  }

  function pixels({ pen, scale, corner, wide, high, ratio, still }, small) {
    /* one write per plant instead of one picture: what keeps a hundred thousand plants moving */
    const w = Math.round(wide * ratio), h = Math.round(high * ratio);
    const image = still ? pen.getImageData(0, 0, w, h) : pen.createImageData(w, h), out = new Uint32Array(image.data.buffer);
    const block = Math.max(2, Math.round((small - 1) * ratio)), half = block >> 1, order = state.order;
    const ink = marks.map((m) => { const v = parseInt(m.colour.slice(1), 16); return (255 << 24) | ((v & 255) << 16) | (v & 0xff00) | (v >> 16); });
    for (let k = 0; k < state.count; k++) {
      const i = order ? order[k] : k, code = state.status[i] & ~SYNTHETIC;
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
  }

  function selection({ pen, scale, corner, zoom }) {
    if (state.selected < 0) return;
    const x = state.x[state.selected] * scale - corner.x, y = state.y[state.selected] * scale - corner.y, large = sizes(zoom)[1];
    pen.beginPath(); pen.arc(x, y, large + 2, 0, 7); pen.lineWidth = 4; pen.strokeStyle = "#fff"; pen.stroke();
    pen.lineWidth = 2; pen.strokeStyle = "#14413d"; pen.stroke();
  }

  const note = L.DomUtil.create("p", "map-note", map.getContainer());
  note.hidden = true;
  note.textContent = say("worst");
  const layer = spreadmapCanvas(map, "plants", 450, "plants-canvas", (frame) => {
    if (!state.x) return;
    note.hidden = paint(frame) !== "grid";
    selection(frame);
  }).addTo(map);

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
    if (packed.rank[row] !== undefined) line(list, say("order"), packed.rank[row]);
    for (const [name, column] of words.repeated) line(list, name, column.words[column.index[row]]);
    if (state.level[i] !== NO_CLASS) line(list, say("pressure"), packed.classLabels[state.level[i]]);
    for (const [name, texts] of words.sparse) line(list, name, texts[row]);
    if (state.before && state.before[i] !== state.now[i]) line(list, say("before"), say("before_on", { label: marks[state.before[i] & ~SYNTHETIC].label, day: packed.beforeOn }));
    if (state.now[i] & SYNTHETIC) line(list, say("position"), say("synthetic"));
    box.className = "card";
    box.append(title, list);
    return box;
  }

  function open(i) {
    state.selected = i;
    layer.redraw();
    L.popup({ minWidth: 250, maxWidth: 320, autoPanPaddingTopLeft: [60, 12], autoPanPaddingBottomRight: [40, 12] }).setLatLng(place(i)).setContent(card(i)).openOn(map);
  }

  map.on("click", (event) => {
    if (!state.words) return;
    const i = nearest(event.layerPoint);
    if (i >= 0) open(i);
  });
  map.on("popupclose", () => { state.selected = -1; layer.redraw(); });

  const ready = (async () => {
    const [numbers, text] = await Promise.all([spreadmapInflate(packed.numbers), spreadmapInflate(packed.words)]);
    const n = packed.count, lon = new Int32Array(numbers, 0, n), lat = new Int32Array(numbers, 4 * n, n);
    state.row = new Uint32Array(numbers, 8 * n, n);
    state.now = state.status = new Uint8Array(numbers, 12 * n, n);
    state.level = new Uint8Array(numbers, 13 * n, n);
    if (packed.beforeOn) state.before = new Uint8Array(numbers, 14 * n, n);
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
    layer.redraw();
  })();

  /* The state now, or at the survey before; the worst is drawn last in both. */
  function setBefore(wanted) {
    const status = wanted && state.before ? state.before : state.now;
    if (!status || status === state.status) return;
    state.status = status;
    state.order = null;
    if (status === state.before) {
      const code = (i) => status[i] & ~SYNTHETIC;
      state.order = Uint32Array.from({ length: state.count }, (_, i) => i).sort((a, b) => code(a) - code(b) || a - b);
    }
    layer.redraw();
  }

  return {
    ready,
    layer,
    paint,
    setBefore,
    words: () => state.words,
    isBefore: () => state.status !== null && state.status === state.before,
    /* where a plant lies in the square of the world, 0 to 1 */
    unit(row) { const i = state.at[row]; return [state.x[i], state.y[i]]; },
    place(row) { return place(state.at[row]); },
    isNear(point) { return state.words !== null && nearest(point) >= 0; },
    screenPoint(row) { return map.latLngToContainerPoint(place(state.at[row])); },
    show(row) {
      const i = state.at[row];
      map.setView(place(i), Math.max(map.getZoom(), 18.5), { animate: false });
      open(i);
    },
  };
}
