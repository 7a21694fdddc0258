"use strict";
/* The page's texts by key: places in braces are filled, `n` chooses between one and many, numbers are written out. */
function spreadmapSay(texts) {
  const fixed = (value, places) => {
    const [whole, rest] = Math.abs(value).toFixed(places).split(".");
    const apart = whole.replace(/\B(?=(\d{3})+$)/g, texts.group);
    return `${value < 0 && Number(value.toFixed(places)) !== 0 ? "−" : ""}${apart}${rest ? texts.point + rest : ""}`;
  };
  const say = (key, values = {}) => {
    let text = typeof texts[key] === "string" ? texts[key] : texts[key][Math.round(values.n) === 1 ? "one" : "other"];
    /* shares without an article: "74 %" has one, "under 1 %" has not */
    for (const name of Object.keys(values)) {
      if (values[name] === texts.under || values[name] === texts.over) text = text.replace(`${texts.article}{${name}}`, `{${name}}`);
    }
    return text.replace(/\{(\w+)\}/g, (_, name) => (typeof values[name] === "number" ? fixed(values[name], 0) : values[name]));
  };
  /* a number with one decimal where it has any */
  say.short = (value) => (Number.isInteger(Number(value.toFixed(1))) ? fixed(value, 0) : fixed(value, 1));
  say.share = (v) => (v > 0 && v < 0.01 ? say("under") : v > 0.99 && v < 1 ? say("over") : say("share", { n: Math.round(100 * v) }));
  say.hours = (v) => say("hours", { value: say.short(v) });
  say.plants = (n) => say("plants", { n });
  return say;
}
