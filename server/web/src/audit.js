import {buildShell} from "./shell.js"; buildShell("/audit");
