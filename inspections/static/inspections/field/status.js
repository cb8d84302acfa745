// The bar above every screen: the way to the other screens, how old the data of this device are, what has not been sent,
// and who uses it.
import { copyOf } from "./words.js";

const bar = document.getElementById("status");

export function drawStatus() {
  if (!bar.childElementCount) bar.append(copyOf("status-bar"));
}
