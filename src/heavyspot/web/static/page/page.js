// What every page has: one key for "next", a way back, the camera as a scanner.
import { backOnClick, nextOnKey } from "./keys.js";
import { scanOnClick } from "./scan.js";

nextOnKey(document);
backOnClick(document);
scanOnClick(document.querySelector("[data-scan]"), document.getElementById("scan"));
