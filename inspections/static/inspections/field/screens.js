// Every screen by its name. Imports are written out, so that a release serves each under the name of its content.
import * as scan from "./screens/scan.js";

export const SCREENS = { scan };
