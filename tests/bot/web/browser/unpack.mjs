// Unpacks the Chromium that npm brought into the folder given, and prints where it and its libraries are.
import { mkdirSync } from "node:fs";

const folder = process.argv[2];
mkdirSync(folder, { recursive: true });
process.env.TMPDIR = folder;
process.env.AWS_EXECUTION_ENV = "AWS_Lambda_nodejs22.x"; // makes the package unpack the libraries it was built with
const { default: chromium } = await import("@sparticuz/chromium");
console.log(await chromium.executablePath());
console.log(`${folder}/al2023/lib`);
