// Bundles web/ into built/: one script, one style sheet, the page, its icon, and the licence texts of what is inside.
import { build } from "esbuild";
import { cp, mkdir, readFile, rm, writeFile } from "node:fs/promises";

await rm("built", { recursive: true, force: true });
await mkdir("built");
const made = await build({
  entryPoints: ["web/main.js", "web/main.css"],
  outdir: "built",
  bundle: true,
  minify: true,
  format: "esm",
  target: ["chrome109", "firefox115", "safari16"],
  legalComments: "none",
  metafile: true,
});
for (const name of ["index.html", "icon.svg", "sample.jpg"]) await cp(`web/${name}`, `built/${name}`);

const packages = new Set(
  Object.keys(made.metafile.inputs).map((path) => path.match(/node_modules\/((?:@[^/]+\/)?[^/]+)/)?.[1]).filter(Boolean),
);
let licences = "";
for (const name of [...packages].sort()) {
  const { version, license } = JSON.parse(await readFile(`node_modules/${name}/package.json`, "utf8"));
  let text = "";
  for (const file of ["LICENSE.md", "LICENSE", "LICENSE.txt", "license"]) {
    text ||= await readFile(`node_modules/${name}/${file}`, "utf8").catch(() => "");
  }
  licences += `${name} ${version} (${license})\n\n${text}\n\n`;
}
await writeFile("built/licences.txt", licences);
