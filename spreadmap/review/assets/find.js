"use strict";
/* Every plant and every shape by its key or name, from the keyboard. */
function spreadmapFind(map, plants, shapes, open) {
  const say = spreadmapWords, field = document.querySelector("[data-find]"), told = document.querySelector("[data-found]");
  if (!field) return;
  const fold = (text) => text.trim().toLowerCase();
  let keys = null;

  function plantOf(asked) {
    const words = plants && plants.words();
    if (!words) return -1;
    if (!keys) { keys = new Map(); words.key.forEach((key, row) => { if (!keys.has(fold(key))) keys.set(fold(key), row); }); }
    if (keys.has(asked)) return keys.get(asked);
    for (const [key, row] of keys) if (key.startsWith(asked)) return row;
    return -1;
  }

  function find() {
    const asked = fold(field.value);
    if (!asked) { told.textContent = ""; return; }
    const exact = shapes.find((shape) => fold(shape.name) === asked) || shapes.find((shape) => fold(shape.title) === asked);
    const row = exact ? -1 : plantOf(asked);
    const shape = exact || (row < 0 ? shapes.find((one) => fold(one.name).startsWith(asked)) : undefined);
    if (row >= 0) { plants.show(row); told.textContent = say("found", { name: plants.words().key[row] }); }
    else if (shape) { open(shape); told.textContent = say("found", { name: shape.title }); }
    else told.textContent = say("not_found");
  }
  field.addEventListener("change", find);
  field.addEventListener("keydown", (event) => { if (event.key === "Enter") find(); });
}
