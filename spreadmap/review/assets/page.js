"use strict";
/* Joins the text with the map: rows move it, sections lead it, the legend switches its layers, print gets still maps. */
function spreadmapPage(map, plants, page) {
  const say = spreadmapWords, layers = {}, ringStyle = { core: 3, inner: 2, outer: 1.25 }, MANY_SHAPES = 1500;
  map.createPane("ground").style.zIndex = 240;
  map.createPane("surface").style.zIndex = 250;
  /* very many shapes are drawn on a canvas: sites all at once, others one by one */
  const sites = page.shapes.filter((shape) => shape.kind === "site"), areMany = sites.length > MANY_SHAPES;
  const more = page.shapes.length - sites.length > MANY_SHAPES ? { renderer: L.canvas({ pane: "overlayPane" }) } : {};

  function describe(shape) {
    const box = document.createElement("div"), title = document.createElement("p"), list = document.createElement("dl");
    box.className = "card"; title.className = "card-title"; title.textContent = shape.title;
    for (const [name, text] of shape.says) {
      const term = document.createElement("dt"), said = document.createElement("dd");
      term.textContent = name; said.textContent = text; list.append(term, said);
    }
    box.append(title, list);
    return box;
  }

  function open(shape, place) {
    L.popup({ minWidth: 230, maxWidth: 300 }).setLatLng(place).setContent(describe(shape)).openOn(map);
  }

  function style(shape) {
    switch (shape.kind) {
      case "ring": return { color: "#14413d", weight: ringStyle[shape.name] || 1.25, fill: false, dashArray: shape.name === "outer" ? "2 5" : shape.name === "inner" ? "9 5" : null };
      case "ring_range": return { color: "#14413d", weight: 0.6, fillColor: "#14413d", fillOpacity: 0.09 };
      case "old_ring": return { color: "#6a1b7a", weight: ringStyle[shape.name] || 1.25, fill: false, dashArray: "6 3 1 3" };
      case "line": return { color: "#5b4a8a", weight: 1.5, dashArray: "1 4 8 4", fill: false };
      case "site": return { color: "#7c776b", weight: 1, fillColor: { seen: "#fbfaf6", none: "#d3d3cf", unseen: "url(#hatch)" }[shape.ground] || "#fbfaf6", fillOpacity: page.tiles ? 0.35 : shape.ground === "none" ? 0.75 : 1 };
      case "reservoir": return { color: "#3f5d1f", weight: 1.5, fillColor: "#7a9a4e", fillOpacity: 0.45 };
      default: return { color: "#2f6b3a", weight: 4, opacity: 0.85, lineCap: "butt", fill: false };
    }
  }

  if (page.tiles) {
    layers.tiles = L.tileLayer(page.tiles.address, { maxNativeZoom: 19, maxZoom: 22, referrerPolicy: "no-referrer" });
  }
  for (const raster of page.rasters) {
    layers[raster.layer] = L.imageOverlay(raster.png, raster.bounds, { opacity: 0.55, pane: "surface", interactive: false, className: "surface", alt: "" });
  }
  if (page.rasters.length) {
    /* beyond this frame nothing was reckoned */
    const edge = { color: "#6f6a5e", weight: 1, dashArray: "1 5", fill: false, interactive: false, pane: "ground" };
    L.rectangle(page.rasters[0].bounds, edge).addTo(map);
  }
  if (areMany) {
    const ground = spreadmapGround(map, sites, style);
    layers.site = ground.layer;
    map.on("click", (event) => {
      if (!map.hasLayer(layers.site) || (plants && plants.isNear(event.layerPoint))) return;
      const shape = ground.at(event.latlng);
      if (shape) open(shape, event.latlng);
    });
  }
  for (const shape of page.shapes) {
    const isSite = shape.kind === "site";
    if (isSite && areMany) continue;
    const group = layers[shape.layer] || (layers[shape.layer] = L.featureGroup());
    const drawn = L.geoJSON(shape.geometry, {
      pane: isSite ? "ground" : "overlayPane",
      ...(isSite ? {} : more),
      style: () => style(shape),
      pointToLayer: (_, place) => L.circleMarker(place, { radius: 6 }),
    });
    drawn.on("click", (event) => {
      if (plants && plants.isNear(event.layerPoint)) return;
      L.DomEvent.stopPropagation(event);
      open(shape, event.latlng);
    });
    shape.drawn = drawn;
    group.addLayer(drawn);
  }
  layers.graticule = spreadmapCanvas(map, "graticule", 245, "graticule-canvas", spreadmapGraticule);
  if (plants) layers.plants = plants.layer;
  const overlay = plants ? spreadmapOverlay(map, plants) : null;

  /* what a reader switches by hand stays as it is; sections switch the rest */
  const boxes = [...document.querySelectorAll("input[data-layer]")].filter((box) => layers[box.dataset.layer]), byHand = new Set();
  const put = (box) => {
    const layer = layers[box.dataset.layer];
    if (box.checked !== map.hasLayer(layer)) box.checked ? layer.addTo(map) : layer.remove();
  };
  for (const box of boxes) {
    put(box);
    box.addEventListener("change", () => { byHand.add(box); put(box); });
  }
  function show(names) {
    for (const box of boxes) {
      if (byHand.has(box) || box.dataset.layer === "graticule" || box.dataset.layer === "tiles") continue;
      box.checked = names.includes(box.dataset.layer);
      put(box);
    }
    for (const name of Object.keys(layers)) {
      if (boxes.some((box) => box.dataset.layer === name)) continue;
      names.includes(name) ? layers[name].addTo(map) : layers[name].remove();
    }
  }

  /* rows of long lists come later, so that the whole memo listens */
  const memo = document.querySelector(".memo");
  if (memo) {
    memo.addEventListener("click", (event) => {
      const button = event.target.closest("button[data-row], button[data-bounds]");
      if (!button) return;
      for (const old of document.querySelectorAll("tr.chosen")) old.classList.remove("chosen");
      const row = button.closest("tr");
      if (row) row.classList.add("chosen");
      if (button.dataset.bounds) map.fitBounds(JSON.parse(button.dataset.bounds), { padding: [24, 24], animate: false });
      else plants.ready.then(() => plants.show(Number(button.dataset.row)));
      const frame = document.querySelector(".map-frame"), seen = frame.getBoundingClientRect();
      if (seen.bottom < 120 || seen.top > window.innerHeight - 120) frame.scrollIntoView({ block: "start" });
    });
  }

  for (const table of document.querySelectorAll("table[data-first]")) {
    const first = Number(table.dataset.first), rows = [...table.tBodies[0].rows].filter((row) => !row.classList.contains("cut-off"));
    if (rows.length <= first + 3) continue;
    rows.slice(first).forEach((row) => row.classList.add("later"));
    const more = document.createElement("button");
    more.type = "button"; more.className = "more";
    const label = () => {
      const all = table.classList.contains("all");
      more.textContent = all ? say("first_rows", { n: first }) : say("all_rows", { n: rows.length });
      more.setAttribute("aria-expanded", String(all));
    };
    more.addEventListener("click", () => { table.classList.toggle("all"); label(); });
    label();
    table.after(more);
  }

  /* a table that is wider than its column is scrolled by keys as well */
  const reach = () => {
    for (const frame of document.querySelectorAll(".table")) {
      const wide = frame.scrollWidth > frame.clientWidth + 1;
      wide ? frame.setAttribute("tabindex", "0") : frame.removeAttribute("tabindex");
      if (wide) { frame.setAttribute("role", "group"); frame.setAttribute("aria-label", frame.querySelector("caption").textContent); }
    }
  };
  reach();
  window.addEventListener("resize", reach);

  L.control.zoom({ zoomInTitle: say("zoom_in"), zoomOutTitle: say("zoom_out") }).addTo(map);
  L.control.scale({ metric: page.units !== "us", imperial: page.units === "us", position: "bottomleft", maxWidth: 140 }).addTo(map);
  map.on("popupopen", (event) => {
    const close = event.popup.getElement().querySelector(".leaflet-popup-close-button");
    if (close) close.setAttribute("aria-label", say("close"));
  });
  const north = L.control({ position: "topright" });
  north.onAdd = () => {
    const box = L.DomUtil.create("div", "north");
    box.setAttribute("role", "img"); box.setAttribute("aria-label", say("north_up"));
    box.textContent = say("north");
    return box;
  };
  north.addTo(map);
  /* text alone: what a project writes of its tiles is no markup */
  const standing = L.control({ position: "bottomright" });
  standing.onAdd = () => {
    const box = L.DomUtil.create("div", "leaflet-control-attribution");
    box.textContent = [page.attribution, page.tiles ? page.tiles.attribution : ""].filter(Boolean).join(" · ");
    return box;
  };
  standing.addTo(map);

  const home = () => { if (page.bounds) map.fitBounds(page.bounds, { padding: [18, 18], animate: false }); };
  home();
  const whole = document.querySelector("[data-home]");
  if (whole) whole.addEventListener("click", () => { map.closePopup(); home(); });

  spreadmapFind(map, plants, page.shapes, (shape) => {
    const bounds = shape.drawn.getBounds();
    layers[shape.layer].addTo(map);
    for (const box of boxes) if (box.dataset.layer === shape.layer) box.checked = true;
    map.fitBounds(bounds, { padding: [30, 30], maxZoom: 19.5, animate: false });
    open(shape, bounds.getCenter());
  });
  const views = spreadmapViews(map, plants, overlay, show, page.views, home);
  const decisions = plants ? spreadmapDecisions(page.decisions) : null;
  const lists = plants ? page.removals.map((data) => spreadmapRemoval(data, views, decisions)) : [];
  if (decisions) decisions.begin(lists);

  const stills = spreadmapStills(map, plants, overlay, views, page, style);
  window.addEventListener("beforeprint", () => { for (const list of lists) list.print(true); stills.put(); });
  window.addEventListener("afterprint", () => { stills.clear(); for (const list of lists) list.print(false); });
  if (plants) plants.ready.then(() => overlay.set({}));

  window.spreadmapReview = { map, plants, overlay, views, lists, decisions, stills };
}
