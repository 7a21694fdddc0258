"use strict";
/* Joins the text with the map: rows move it, the legend switches its layers, print gets a map of its own size. */
function spreadmapPage(map, plants, page) {
  const layers = {}, ringStyle = { core: 3, inner: 2, outer: 1.25 };
  map.createPane("ground").style.zIndex = 240;
  map.createPane("surface").style.zIndex = 250;

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

  function style(shape) {
    switch (shape.kind) {
      case "ring": return { color: "#14413d", weight: ringStyle[shape.name] || 1.25, fill: false, dashArray: shape.name === "outer" ? "2 5" : shape.name === "inner" ? "9 5" : null };
      case "line": return { color: "#5b4a8a", weight: 1.5, dashArray: "1 4 8 4", fill: false };
      case "site": return { color: "#857f72", weight: 1, fillColor: "#dcd7c9", fillOpacity: 0.8 };
      case "reservoir": return { color: "#3f5d1f", weight: 1.5, fillColor: "#7a9a4e", fillOpacity: 0.45 };
      default: return { color: "#2f6b3a", weight: 4, opacity: 0.85, lineCap: "butt" };
    }
  }

  for (const raster of page.rasters) {
    layers[raster.layer] = L.imageOverlay(raster.png, raster.bounds, { opacity: 0.55, pane: "surface", interactive: false, className: "surface", alt: "" });
  }
  if (page.rasters.length) {
    /* beyond this frame nothing was reckoned */
    const edge = { color: "#6f6a5e", weight: 1, dashArray: "1 5", fill: false, interactive: false, pane: "ground" };
    L.rectangle(page.rasters[0].bounds, edge).addTo(map);
  }
  for (const shape of page.shapes) {
    const group = layers[shape.layer] || (layers[shape.layer] = L.featureGroup());
    const drawn = L.geoJSON(shape.geometry, {
      pane: shape.kind === "site" ? "ground" : "overlayPane",
      style: () => style(shape),
      pointToLayer: (_, place) => L.circleMarker(place, { radius: 6 }),
    });
    drawn.on("click", (event) => {
      if (plants && plants.isNear(event.layerPoint)) return;
      L.DomEvent.stopPropagation(event);
      L.popup({ minWidth: 230, maxWidth: 300 }).setLatLng(event.latlng).setContent(describe(shape)).openOn(map);
    });
    group.addLayer(drawn);
  }

  for (const box of document.querySelectorAll("input[data-layer]")) {
    const layer = box.dataset.layer === "plants" ? plants && plants.layer : layers[box.dataset.layer];
    if (!layer) continue;
    const set = () => (box.checked ? layer.addTo(map) : layer.remove());
    if (box.dataset.layer !== "plants" || !box.checked) set();
    box.addEventListener("change", set);
  }

  for (const button of document.querySelectorAll("button[data-row], button[data-bounds]")) {
    button.addEventListener("click", () => {
      for (const old of document.querySelectorAll("tr.chosen")) old.classList.remove("chosen");
      const row = button.closest("tr");
      if (row) row.classList.add("chosen");
      if (button.dataset.bounds) map.fitBounds(JSON.parse(button.dataset.bounds), { padding: [24, 24], animate: false });
      else plants.ready.then(() => plants.show(Number(button.dataset.row)));
      const stage = document.querySelector(".stage"), seen = stage.getBoundingClientRect();
      if (seen.bottom < 120 || seen.top > window.innerHeight - 120) stage.scrollIntoView({ block: "start" });
    });
  }

  for (const table of document.querySelectorAll("table[data-first]")) {
    const first = Number(table.dataset.first), rows = [...table.tBodies[0].rows];
    if (rows.length <= first + 3) continue;
    rows.slice(first).forEach((row) => row.classList.add("later"));
    const more = document.createElement("button");
    more.type = "button"; more.className = "more";
    const label = () => { more.textContent = table.classList.contains("all") ? `Show the first ${first} rows` : `Show all ${rows.length} rows`; };
    more.addEventListener("click", () => { table.classList.toggle("all"); label(); });
    label();
    table.after(more);
  }

  L.control.scale({ imperial: false, position: "bottomleft", maxWidth: 140 }).addTo(map);
  L.control.scale({ metric: false, position: "bottomleft", maxWidth: 140 }).addTo(map);
  const north = L.control({ position: "topright" });
  north.onAdd = () => {
    const box = L.DomUtil.create("div", "north");
    box.setAttribute("role", "img"); box.setAttribute("aria-label", "North is up");
    box.textContent = "N";
    return box;
  };
  north.addTo(map);
  L.control.attribution({ prefix: false, position: "bottomright" }).addAttribution(page.attribution).addTo(map);

  const home = () => { if (page.bounds) map.fitBounds(page.bounds, { padding: [18, 18], animate: false }); };
  home();
  const whole = document.querySelector("[data-home]");
  if (whole) whole.addEventListener("click", () => { map.closePopup(); home(); });

  const box = map.getContainer(), still = { width: "660px", height: "360px" };
  let before = null;
  window.addEventListener("beforeprint", () => {
    before = [map.getCenter(), map.getZoom()];
    const bounds = map.getBounds();
    Object.assign(box.style, still);
    map.invalidateSize({ animate: false, pan: false });
    map.fitBounds(bounds, { animate: false });
    if (plants && map.hasLayer(plants.layer)) plants.still();
  });
  window.addEventListener("afterprint", () => {
    if (plants) plants.live();
    box.style.width = box.style.height = "";
    map.invalidateSize({ animate: false, pan: false });
    if (before) map.setView(before[0], before[1], { animate: false });
  });

  window.spreadmapReview = { map, plants };
}
