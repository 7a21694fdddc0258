"use strict";
/* The removal list: cut-off by crew hours, filters, pages of rows. Rows that the page does not hold are made here. */
function spreadmapRemoval(data, views, decisions) {
  const say = spreadmapWords, root = document.getElementById(data.key), tools = root.querySelector(".tools");
  const table = root.querySelector("table.removal"), body = table.tBodies[0], pages = root.querySelector("[data-pages]");
  const slider = tools.querySelector("[data-hours]"), figure = tools.querySelector("[data-figure]"), marker = tools.querySelector(".here");
  const filters = [...tools.querySelectorAll("select[data-filter]")], shown = tools.querySelector("[data-shown]");
  const total = data.plants.length, planned = data.hours.length, isLong = total > data.first + 3;
  const made = new Map([...body.querySelectorAll("tr[data-at]")].map((row) => [Number(row.dataset.at), row]));
  let cut = data.within, given = null, all = !isLong, page = 0, columns = null, printing = false;

  const cutRow = table.querySelector("tr.cut-off") || (() => {
    const row = document.createElement("tr"), cell = document.createElement("td");
    row.className = "cut-off"; cell.colSpan = table.tHead.rows[0].cells.length;
    row.append(cell);
    return row;
  })();
  cutRow.classList.add("near");

  const ready = data.rows ? spreadmapInflate(data.rows).then((text) => { columns = JSON.parse(new TextDecoder().decode(text)); }) : Promise.resolve();

  function figureWords(at) {
    const said = { hours: say.hours(at), cut, plants: say.plants(total), until: data.until };
    if (!data.share.length) return say("reach", said);
    if (!cut) return say("avoids_nothing", said);
    const k = Math.min(cut, data.share.length) - 1;
    if (data.infections) {
      const few = (column) => (column[k] < 10 ? say.short(column[k]) : Math.round(column[k])), { cases, low, high } = data.infections;
      return say("avoids_infections", { ...said, cases: few(cases), low: few(low), high: few(high) });
    }
    return say("avoids_share", { ...said, share: say.share(data.share[k]), low: say.share(data.low[k]), high: say.share(data.high[k]) });
  }

  const isFiltered = () => filters.some((one) => one.value !== "");
  const keeps = (k) => filters.every((one) => one.value === "" || data.columns[one.dataset.filter].index[k] === Number(one.value));

  /* A further row is a copy of the first one with texts of its own. */
  function make(k) {
    const row = made.get(0).cloneNode(true), cells = row.cells, [decided, reason, until] = columns.decided[k], key = decisions.key(data.plants[k]);
    const texts = (cell, ...values) => { const spans = cell.querySelectorAll(".under, .whole, .day"); values.forEach((text, n) => { spans[n].textContent = text; }); };
    row.dataset.at = k; row.className = "";
    cells[0].firstChild.nodeValue = String(k + 1); texts(cells[0], columns.rank[k]);
    const button = cells[1].querySelector("button");
    button.textContent = key; button.dataset.row = data.plants[k]; texts(cells[1], columns.place[k]);
    cells[2].firstChild.nodeValue = columns.minutes[k]; texts(cells[2], columns.cost[k]);
    cells[3].querySelector(".day").textContent = columns.planned[k];
    const days = cells[3].querySelectorAll(".whole");
    days[0].textContent = columns.earliest[k]; days[1].textContent = columns.replant[k];
    cells[4].firstChild.textContent = columns.why[k];
    decisions.fill(row.querySelector("[data-decide]"), data.plants[k], decided, reason, until);
    made.set(k, row);
    return row;
  }

  const rowOf = (k) => made.get(k) || (columns ? make(k) : null);

  /* Which rows stand in the page: the first ones and those round the line, or one page of what the filters leave. */
  function wanted() {
    const rows = [];
    if (printing) {
      for (let k = 0; k < cut; k++) if (keeps(k)) rows.push(k);
      return rows.length ? rows : [0];
    }
    if (all || isFiltered()) {
      for (let k = 0; k < total; k++) if (keeps(k)) rows.push(k);
      page = Math.max(0, Math.min(page, Math.ceil(rows.length / data.page) - 1));
      turn(rows.length);
      return rows.slice(page * data.page, (page + 1) * data.page);
    }
    turn(0);
    for (let k = 0; k < total; k++) if (k < data.first || (k >= cut - 2 && k < cut + 2)) rows.push(k);
    return rows;
  }

  function lay() {
    const rows = wanted(), held = rows.map(rowOf).filter(Boolean), focus = document.activeElement;
    body.replaceChildren(...held);
    for (const row of held) {
      const k = Number(row.dataset.at);
      row.classList.toggle("beyond", k >= cut);
      row.classList.toggle("gap", !all && !isFiltered() && !printing && k === cut - 2 && k > data.first);
    }
    const next = held.find((row) => Number(row.dataset.at) >= cut), last = held[held.length - 1];
    if (cut > 0 && cut < total && next && (next !== held[0] || rows[0] === cut)) next.before(cutRow);
    else if (cut > 0 && cut < total && last && Number(last.dataset.at) === cut - 1) last.after(cutRow);
    if (focus && focus.isConnected && focus !== document.activeElement) focus.focus({ preventScroll: true });
  }

  /* Buttons under the list: all rows or the first ones, and pages of a long list. */
  function control(label, press, isOff = false) {
    const button = document.createElement("button");
    button.type = "button"; button.className = "more"; button.textContent = label; button.disabled = isOff;
    button.addEventListener("click", press);
    return button;
  }
  const more = control("", () => { all = !all; page = 0; lay(); });
  const where = document.createElement("span");
  where.setAttribute("role", "status");
  const go = (step) => () => { page += step; lay(); table.querySelector("button.go").focus({ preventScroll: true }); table.scrollIntoView({ block: "start" }); };
  const previous = control(say("previous"), go(-1)), following = control(say("following"), go(1));
  if (isLong) pages.append(more);
  pages.append(previous, where, following);
  function turn(count) {
    const many = count > data.page, last = Math.min(count, (page + 1) * data.page);
    for (const part of [previous, where, following]) part.hidden = !many;
    previous.disabled = page === 0; following.disabled = last >= count;
    where.textContent = many ? say("rows_of", { first: page * data.page + 1, last, n: count }) : "";
    more.textContent = all ? say("first_rows", { n: data.first }) : say("all_rows", { n: total });
    more.setAttribute("aria-expanded", String(all));
    more.hidden = isFiltered();
  }

  function draw() {
    const at = given === null ? data.week : given, numbers = [];
    for (let k = 0; k < total; k++) if (keeps(k)) numbers.push({ row: data.plants[k], text: String(k + 1), strong: k < cut });
    shown.textContent = isFiltered() ? say("shown_of", { n: numbers.length, plants: say.plants(total) }) : "";
    if (given !== null) cutRow.cells[0].textContent = say("cut_line", { hours: say.hours(given), above: say.plants(cut), below: say.plants(total - cut) });
    slider.setAttribute("aria-valuetext", say("slider", { hours: say.hours(at), plants: say.plants(cut) }));
    figure.textContent = figureWords(at);
    if (marker) marker.setAttribute("transform", `translate(${data.most > 0 ? Math.min(1000, (1000 * at) / data.most) : 0} 0)`);
    lay();
    views.number(data.key, numbers);
  }

  slider.addEventListener("input", () => {
    given = Number(slider.value);
    cut = 0;
    while (cut < planned && data.hours[cut] <= given * (1 + 1e-9)) cut++;
    draw();
  });
  for (const one of filters) one.addEventListener("change", () => { page = 0; draw(); });
  tools.querySelector("[data-week]").addEventListener("click", () => {
    slider.value = data.week; cut = data.within; given = null; draw();
  });
  tools.querySelector("[data-clear]").addEventListener("click", () => {
    for (const one of filters) one.value = "";
    page = 0;
    draw();
  });
  draw();
  ready.then(() => lay());
  return {
    ready,
    cut: () => cut,
    print(on) { printing = on; lay(); },
    /* the row of a plant, brought into the page; null where it is not on this list */
    reveal(plant) {
      const k = data.plants.indexOf(plant);
      if (k < 0) return null;
      for (const one of filters) one.value = "";
      all = true; page = Math.floor(k / data.page);
      draw();
      return rowOf(k);
    },
  };
}

/* One table of decisions for the whole page: those of earlier runs that still stand, and those made here. */
function spreadmapDecisions(page) {
  const say = spreadmapWords, made = new Map(), memo = document.querySelector(".memo");
  const told = () => [...document.querySelectorAll("[data-saved]")];
  const plantOf = new Map(Object.entries(page.keys).map(([plant, key]) => [key, Number(plant)]));
  let unsaved = false, lists = [];

  const parts = (box) => ({ word: box.querySelector("select"), reason: box.querySelector("[data-reason]"), until: box.querySelector("[data-until]"), key: page.keys[box.dataset.decide] });
  const isHeld = (word) => word === "put_off" || word === "refuse";

  function look(box) {
    const one = parts(box), row = box.closest("tr");
    one.reason.hidden = one.word.value === "";
    one.until.hidden = one.word.value !== "put_off";
    one.reason.required = isHeld(one.word.value);
    box.classList.toggle("open", one.word.value === "");
    if (row) row.classList.toggle("refused", isHeld(one.word.value));
  }

  function set(box, decided, reason, until) {
    const one = parts(box);
    one.word.value = decided; one.reason.value = reason; one.until.value = until;
    look(box);
  }

  /* the history entry of this tab keeps what was typed over a reload; nothing is stored on the machine */
  function remember() {
    try { history.replaceState({ spreadmap: page.identity, made: [...made] }, ""); } catch { /* a page that may not is still a page */ }
  }

  function note(text) {
    for (const place of told()) place.textContent = text;
  }

  function changed(box) {
    const one = parts(box);
    made.set(one.key, { decision: one.word.value, reason: one.reason.value.trim(), until: one.word.value === "put_off" ? one.until.value : "" });
    look(box);
    unsaved = true;
    one.reason.removeAttribute("aria-invalid"); one.until.removeAttribute("aria-invalid");
    note(say("made", { n: made.size }));
    remember();
  }

  const guarded = (text) => (/^'*[=+\-@\t\r]/.test(text) ? `'${text}` : text);
  const cell = (text) => (/[",\n\r]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
  function table() {
    const rows = page.kept.filter((row) => !made.has(row[0]));
    for (const [key, one] of made) if (one.decision) rows.push([key, page.asOf, one.decision, one.until, one.reason]);
    return [page.head, ...rows].map((row) => row.map((text) => cell(guarded(text))).join(",")).join("\n") + "\n";
  }

  async function save() {
    for (const [key, one] of made) {
      const reason = isHeld(one.decision) && one.reason === "", date = one.decision === "put_off" && one.until !== "" && one.until <= page.asOf;
      if (!reason && !date) continue;
      await Promise.all(lists.map((list) => list.ready));
      const row = lists.map((list) => list.reveal(plantOf.get(key))).find(Boolean);
      const box = parts(row.querySelector("[data-decide]")), field = reason ? box.reason : box.until;
      field.setAttribute("aria-invalid", "true");
      field.focus();
      note(say(reason ? "say_why" : "wrong_day", { key, day: page.asOf }));
      return;
    }
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([table()], { type: "text/csv;charset=utf-8" }));
    link.download = page.file;
    link.click();
    window.setTimeout(() => URL.revokeObjectURL(link.href), 20000);
    unsaved = false;
    note(say("saved", { file: page.file }));
  }

  memo.addEventListener("change", (event) => {
    const box = event.target.closest("[data-decide]");
    if (box) changed(box);
  });
  memo.addEventListener("click", (event) => { if (event.target.closest("[data-save]")) save(); });
  try {
    const old = history.state;
    if (old && old.spreadmap === page.identity) {
      for (const [key, one] of old.made) if (plantOf.has(key)) made.set(key, one);
      if (made.size) { unsaved = true; note(say("made", { n: made.size })); }
    }
  } catch { /* nothing remembered */ }
  for (const box of document.querySelectorAll("[data-decide]")) {
    const was = made.get(parts(box).key);
    was ? set(box, was.decision, was.reason, was.until) : look(box);
  }

  return {
    table,
    isUnsaved: () => unsaved,
    begin(given) { lists = given; },
    key: (plant) => page.keys[plant],
    /* the controls of a row that was just made: what was decided here, else what stands */
    fill(box, plant, decided, reason, until) {
      box.dataset.decide = plant;
      const key = page.keys[plant], was = made.get(key), one = parts(box);
      one.word.setAttribute("aria-label", say("decision_on", { key }));
      one.reason.setAttribute("aria-label", say("reason_for", { key }));
      one.until.setAttribute("aria-label", say("put_off_until", { key }));
      was ? set(box, was.decision, was.reason, was.until) : set(box, decided, reason, until);
    },
  };
}
