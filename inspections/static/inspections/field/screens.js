// Every screen by its name. Imports are written out, so that a release serves each under the name of its content.
import * as answer from "./screens/answer.js";
import * as check from "./screens/check.js";
import * as damage from "./screens/damage.js";
import * as device from "./screens/device.js";
import * as event from "./screens/event.js";
import * as lend from "./screens/lend.js";
import * as menu from "./screens/menu.js";
import * as mine from "./screens/mine.js";
import * as scan from "./screens/scan.js";
import * as unsent from "./screens/unsent.js";
import * as walk from "./screens/walk.js";
import * as who from "./screens/who.js";

export const SCREENS = { answer, check, damage, device, event, lend, menu, mine, scan, unsent, walk, who };
