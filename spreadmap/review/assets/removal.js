"use strict";
/* The removal list: cut-off by crew hours, filters, decisions that are saved as a table for the next run. */
function spreadmapRemoval(data, views) {
  const root = document.getElementById(data.key), tools = root.querySelector(".tools");
  const table = root.querySelector("table.removal"), rows = [...table.querySelectorAll("tr[data-at]")];
  const slider = tools.querySelector("[data-hours]"), figure = tools.querySelector("[data-figure]"), marker = tools.querySelector(".here");
  const filters = [...tools.querySelectorAll("select[data-filter]")], shown = tools.querySelector("[data-shown]");
  const total = data.plants.length, planned = data.hours.length;
  let cut = data.within;

  const cutRow = table.querySelector("tr.cut-off") || (() => {
    const row = document.createElement("tr"), cell = document.createElement("td");
    row.className = "cut-off"; cell.colSpan = table.tHead.rows[0].cells.length;
    row.append(cell);
    return row;
  })();

  const percent = (v) => (v > 0 && v < 0.01 ? "under 1 %" : v > 0.99 && v < 1 ? "over 99 %" : `${Math.round(100 * v)} %`);
  const hours = (v) => `${Number(v.toFixed(1))} h`;
  const count = (n) => `${n.toLocaleString("en")} ${n === 1 ? "plant" : "plants"}`;
  const whole = (v) => (v < 10 ? v.toFixed(1).replace(/\.0$/, "") : Math.round(v).toLocaleString("en"));

  function avoided() {
    if (!data.share.length) return "";
    if (!cut) return ", avoiding nothing";
    const k = Math.min(cut, data.share.length) - 1, least = percent(data.low[k]), most = percent(data.high[k]);
    if (data.infections) {
      const all = data.share[k] > 0 ? data.infections[k] / data.share[k] : 0;
      return `, avoiding about ${whole(data.infections[k])} infections until ${data.until} (${whole(all * data.low[k])} to ${whole(all * data.high[k])} over the scale run)`;
    }
    return `, avoiding ${percent(data.share[k])} (${least} to ${most}) of the arrivals on healthy hosts that the whole list would send until ${data.until}`;
  }

  function keeps(k) {
    return filters.every((one) => one.value === "" || data.columns[one.dataset.filter].index[k] === Number(one.value));
  }

  function draw(given) {
    const filtered = filters.some((one) => one.value !== "");
    let left = 0;
    table.classList.toggle("filtered", filtered);
    for (let k = 0; k < total; k++) if (keeps(k)) left++;
    rows.forEach((row) => {
      const k = Number(row.dataset.at);
      row.classList.toggle("beyond", k >= cut);
      row.classList.toggle("out", !keeps(k));
      row.classList.toggle("near", k >= cut - 2 && k < cut + 2);
      row.classList.toggle("gap", k === cut - 2 && k > data.first);
    });
    shown.textContent = filtered ? `Shown: ${left.toLocaleString("en")} of ${count(total)}` : "";
    const next = rows.find((row) => Number(row.dataset.at) >= cut);
    if (cut > 0 && cut < total && next) { next.before(cutRow); cutRow.classList.toggle("later", true); cutRow.classList.add("near"); }
    else cutRow.remove();
    if (given !== null) {
      cutRow.cells[0].textContent = `Here ${hours(given)} of crew time end: ${count(cut)} above, ${count(total - cut)} below`;
    }
    const at = given === null ? data.week : given;
    slider.setAttribute("aria-valuetext", `${hours(at)}, ${count(cut)}`);
    figure.textContent = `${hours(at)} of crew time: ${cut.toLocaleString("en")} of ${count(total)}${avoided()}.`;
    if (marker) marker.setAttribute("transform", `translate(${data.most > 0 ? Math.min(1000, (1000 * at) / data.most) : 0} 0)`);
    const numbers = [];
    for (let k = 0; k < total; k++) if (keeps(k)) numbers.push({ row: data.plants[k], text: String(k + 1), strong: k < cut });
    views.number(data.key, numbers);
  }

  slider.addEventListener("input", () => {
    const given = Number(slider.value);
    cut = 0;
    while (cut < planned && data.hours[cut] <= given * (1 + 1e-9)) cut++;
    draw(given);
  });
  for (const one of filters) one.addEventListener("change", () => draw(cut === data.within ? null : Number(slider.value)));
  tools.querySelector("[data-week]").addEventListener("click", () => {
    slider.value = data.week; cut = data.within; draw(null);
  });
  tools.querySelector("[data-clear]").addEventListener("click", () => {
    for (const one of filters) one.value = "";
    draw(cut === data.within ? null : Number(slider.value));
  });
  draw(null);
  return { cut: () => cut };
}

/* One table of decisions for the whole page: those of earlier runs that still stand, and those made here. */
function spreadmapDecisions(page) {
  const boxes = [...document.querySelectorAll("[data-decide]")], made = new Map();
  const buttons = [...document.querySelectorAll("[data-save]")], told = [...document.querySelectorAll("[data-saved]")];
  if (!boxes.length) return null;
  let unsaved = false;

  const parts = (box) => ({ word: box.querySelector("select"), reason: box.querySelector("[data-reason]"), until: box.querySelector("[data-until]"), key: page.keys[box.dataset.decide] });
  const needsReason = (one) => (one.word.value === "put_off" || one.word.value === "refuse") && one.reason.value.trim() === "";
  const wrongDate = (one) => one.word.value === "put_off" && one.until.value !== "" && one.until.value <= page.asOf;

  function look(box) {
    const one = parts(box);
    one.reason.hidden = one.word.value === "";
    one.until.hidden = one.word.value !== "put_off";
    one.reason.required = one.word.value === "put_off" || one.word.value === "refuse";
    box.closest("tr").classList.toggle("refused", one.word.value === "refuse" || one.word.value === "put_off");
  }

  /* the history entry of this tab keeps what was typed over a reload; nothing is stored on the machine */
  function remember() {
    try { history.replaceState({ spreadmap: page.identity, made: [...made] }, ""); } catch { /* a page that may not is still a page */ }
  }

  function note(text) {
    for (const place of told) place.textContent = text;
  }

  function changed(box) {
    const one = parts(box);
    made.set(one.key, { decision: one.word.value, reason: one.reason.value.trim(), until: one.word.value === "put_off" ? one.until.value : "" });
    look(box);
    unsaved = true;
    one.reason.removeAttribute("aria-invalid"); one.until.removeAttribute("aria-invalid");
    note(`${made.size} ${made.size === 1 ? "decision" : "decisions"} made here, not saved yet`);
    remember();
  }

  const guarded = (text) => (/^'*[=+\-@\t\r]/.test(text) ? `'${text}` : text);
  const cell = (text) => (/[",\n\r]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
  function table() {
    const rows = page.kept.filter((row) => !made.has(row[0]));
    for (const [key, one] of made) if (one.decision) rows.push([key, page.asOf, one.decision, one.until, one.reason]);
    return [page.head, ...rows].map((row) => row.map((text) => cell(guarded(text))).join(",")).join("\n") + "\n";
  }

  function save() {
    for (const box of boxes) {
      const one = parts(box), reason = needsReason(one), date = wrongDate(one);
      if (!made.has(one.key) || !(reason || date)) continue;
      const field = reason ? one.reason : one.until;
      const row = box.closest("tr");
      row.classList.add("near"); row.classList.remove("out");
      field.setAttribute("aria-invalid", "true");
      field.focus();
      note(reason ? `Not saved: say why ${one.key} is put off or refused` : `Not saved: ${one.key} is put off until a day that is not after ${page.asOf}`);
      return;
    }
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([table()], { type: "text/csv;charset=utf-8" }));
    link.download = page.file;
    link.click();
    window.setTimeout(() => URL.revokeObjectURL(link.href), 20000);
    unsaved = false;
    note(`Saved as ${page.file}. Name it under [[inputs.decisions]] in the project file; the next run reads it.`);
  }

  for (const box of boxes) {
    for (const field of box.querySelectorAll("select, input")) field.addEventListener("change", () => changed(box));
    look(box);
  }
  for (const button of buttons) button.addEventListener("click", save);
  try {
    const old = history.state;
    if (old && old.spreadmap === page.identity) {
      const known = new Map(old.made);
      for (const box of boxes) {
        const one = parts(box), was = known.get(one.key);
        if (!was) continue;
        one.word.value = was.decision; one.reason.value = was.reason; one.until.value = was.until;
        changed(box);
      }
    }
  } catch { /* nothing remembered */ }
  return { table, isUnsaved: () => unsaved };
}
