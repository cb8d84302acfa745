// Everything that is not sent, in a file, without the sealed PINs: the last resort, for the supervisor.
import * as data from "./data.js";

// The address of the file, which whoever asks for it lets go with URL.revokeObjectURL.
export function exported(rows) {
  const records = rows.map(({ record: { proof, ...record }, state, code, message }) => ({ state, code, message, record }));
  const { installation } = document.documentElement.dataset;
  const text = JSON.stringify({ v: 1, device: data.meta()?.device ?? "", installation, records }, null, 1);
  return URL.createObjectURL(new Blob([text], { type: "application/json" }));
}
