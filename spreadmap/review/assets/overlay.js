"use strict";
/* What a section adds to the map: order numbers, a walk, rings round single plants. */
function spreadmapOverlay(map, plants) {
  const INK = "#14413d", HALO = "#6a1b7a", MOST_NUMBERS = 300;
  const shown = { numbers: [], route: [], marked: [] };

  function at({ scale, corner }, row) {
    const [x, y] = plants.unit(row);
    return [x * scale - corner.x, y * scale - corner.y];
  }

  function walk(frame) {
    const { pen } = frame, points = shown.route.map((row) => at(frame, row));
    if (points.length < 2) return;
    const line = () => { pen.beginPath(); points.forEach(([x, y], k) => (k ? pen.lineTo(x, y) : pen.moveTo(x, y))); pen.stroke(); };
    pen.lineJoin = "round"; pen.lineCap = "round";
    pen.strokeStyle = "rgba(255,255,255,.85)"; pen.lineWidth = 4; line();
    pen.strokeStyle = INK; pen.lineWidth = 1.7; line();
    /* an arrow every hundred pixels of the way says which way it goes */
    let way = 60;
    pen.fillStyle = INK;
    for (let k = 1; k < points.length; k++) {
      const [ax, ay] = points[k - 1], [bx, by] = points[k], long = Math.hypot(bx - ax, by - ay);
      way += long;
      if (way < 100 || long < 3) continue;
      way = 0;
      const turn = Math.atan2(by - ay, bx - ax);
      pen.save(); pen.translate((ax + bx) / 2, (ay + by) / 2); pen.rotate(turn);
      pen.beginPath(); pen.moveTo(6, 0); pen.lineTo(-4, 4.5); pen.lineTo(-4, -4.5); pen.closePath(); pen.fill();
      pen.restore();
    }
    badge(pen, points[0], spreadmapWords("start")); badge(pen, points[points.length - 1], spreadmapWords("end"));
  }

  function badge(pen, [x, y], text) {
    pen.font = "600 11px 'Segoe UI', Arial, sans-serif"; pen.textBaseline = "middle";
    const wide = pen.measureText(text).width + 8;
    pen.fillStyle = INK; pen.fillRect(x + 5, y - 20, wide, 15);
    pen.fillStyle = "#fff"; pen.fillText(text, x + 9, y - 12);
  }

  function rings(frame) {
    const { pen, wide, high } = frame, size = Math.max(7, Math.min(14, 7 + (frame.zoom - 15) * 1.6));
    for (const row of shown.marked) {
      const [x, y] = at(frame, row);
      if (x < -20 || y < -20 || x > wide + 20 || y > high + 20) continue;
      pen.beginPath(); pen.arc(x, y, size, 0, 7);
      pen.strokeStyle = "#fff"; pen.lineWidth = 4; pen.stroke();
      pen.strokeStyle = HALO; pen.lineWidth = 2; pen.stroke();
    }
  }

  function numbers(frame) {
    const { pen, wide, high } = frame, taken = [];
    pen.textBaseline = "middle"; pen.lineJoin = "round";
    for (const { row, text, strong } of shown.numbers) {
      if (taken.length >= MOST_NUMBERS) break;
      let [x, y] = at(frame, row);
      x += 10;
      if (x < 0 || y < 0 || x > wide || y > high) continue;
      if (taken.some((t) => Math.abs(t[0] - x) < 8 + 6 * Math.max(text.length, t[2]) && Math.abs(t[1] - y) < 13)) continue;
      taken.push([x, y, text.length]);
      pen.font = `${strong ? 700 : 400} ${strong ? 12 : 11}px 'Segoe UI', 'Helvetica Neue', Arial, sans-serif`;
      pen.lineWidth = 3.5; pen.strokeStyle = "#fff"; pen.strokeText(text, x, y);
      pen.fillStyle = strong ? "#1d1d1d" : "#5a625f"; pen.fillText(text, x, y);
    }
  }

  function paint(frame) {
    if (!plants.words()) return;
    walk(frame); rings(frame); numbers(frame);
  }

  const isIdle = () => !shown.numbers.length && !shown.route.length && !shown.marked.length;
  const layer = spreadmapCanvas(map, "overlay", 460, "overlay-canvas", paint, isIdle).addTo(map);
  return {
    paint,
    shown,
    /* `what` names the parts that change */
    set(what) { Object.assign(shown, what); layer.redraw(); },
  };
}
