"use strict";
/* Numbers and words come deflated; a browser unpacks them by itself. */
async function spreadmapInflate(text) {
  const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Response(stream).arrayBuffer();
}
