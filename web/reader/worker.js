// Reads pictures beside the page, so that what the camera shows does not stand still meanwhile. The glue of the reader stands before
// this in the same file. One question at a time; whoever asked begins a new worker when this one has failed.

const ready = wasm_bindgen({ module_or_path: "{{wasm}}" });

self.onmessage = async ({ data: { width, height, rgba } }) => {
  try {
    await ready;
    self.postMessage({ text: wasm_bindgen.read_rgba(width, height, new Uint8Array(rgba)) });
  } catch (failed) {
    self.postMessage({ failed: String(failed) });
  }
};
