// Opens pages in headless Chromium and says what is wrong with them; see check.sh.
// Arguments: the browser, the folder of the pages and their names.
import { readFileSync } from "node:fs";
import { resolve } from "node:path";
import { pathToFileURL } from "node:url";
import puppeteer from "puppeteer-core";

const [executablePath, folder, ...pages] = process.argv.slice(2);
const axe = readFileSync(resolve(folder, "node_modules/axe-core/axe.min.js"), "utf8");
const widths = [360, 1200];
let wrong = 0;
const complain = (where, what) => {
  wrong += 1;
  console.log(`${where}: ${what}`);
};

const browser = await puppeteer.launch({ executablePath, args: ["--no-sandbox"] });
for (const name of pages) {
  const address = pathToFileURL(resolve(folder, name)).href;
  for (const width of widths) {
    for (const scheme of ["light", "dark"]) {
      const where = `${name}, ${width} px, ${scheme}`;
      const page = await browser.newPage();
      page.on("console", (told) => {
        if (["error", "warning"].includes(told.type())) complain(where, `console: ${told.text()}`);
      });
      page.on("pageerror", (error) => complain(where, `error: ${error.message}`));
      page.on("request", (request) => {
        if (request.url() !== address) complain(where, `asks for ${request.url()}`);
      });
      await page.setViewport({ width, height: 800 });
      await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }]);
      await page.goto(address);
      const seen = await page.evaluate(() => {
        // The small lines beside the words of a key are pictures too.
        const pictures = [...document.querySelectorAll("svg")].map((one) => one.getBoundingClientRect());
        // What scrolls by itself, and what is inside it, may be wide.
        const scrolls = (one) => {
          for (let at = one; at; at = at.parentElement) {
            if (["auto", "scroll"].includes(getComputedStyle(at).overflowX)) return true;
          }
          return false;
        };
        const wide = [...document.querySelectorAll("body *")].filter(
          (one) => one.getBoundingClientRect().right > innerWidth + 1 && !scrolls(one),
        );
        const small = [...document.querySelectorAll("p, li, td, th")].filter(
          (one) => one.innerText.trim() && parseFloat(getComputedStyle(one).fontSize) < 12,
        );
        // What is there and is not shown at this width would be missed; a page may have a second
        // form of it for another width, so only whole sections count.
        const empty = [...document.querySelectorAll("section")].filter((one) => {
          const shown = [...one.children].filter((child) => child.getBoundingClientRect().height > 0);
          return shown.length < 2;
        });
        return {
          empty: empty.map((one) => one.innerText.slice(0, 40)),
          pictures: pictures.length,
          hidden: pictures.filter((one) => one.width < 8 || one.height < 4).length,
          page: document.documentElement.scrollWidth,
          wide: wide.map((one) => one.outerHTML.slice(0, 80)),
          small: small.length,
        };
      });
      for (const one of seen.empty) complain(where, `nothing under ${one}`);
      if (seen.pictures === 0) complain(where, "no picture");
      if (seen.hidden > 0) complain(where, `${seen.hidden} of ${seen.pictures} pictures cannot be seen`);
      if (seen.page > width) complain(where, `the page is ${seen.page} px wide`);
      for (const one of seen.wide.slice(0, 3)) complain(where, `too wide: ${one}`);
      if (seen.small > 0) complain(where, `${seen.small} texts below 12 px`);
      await page.screenshot({
        path: resolve(folder, `${name.replace(".html", "")}-${width}-${scheme}.png`),
        fullPage: true,
      });
      await page.evaluate(axe);
      const found = await page.evaluate(() => globalThis.axe.run());
      for (const one of found.violations) {
        const serious = ["serious", "critical"].includes(one.impact);
        const told = `axe: ${one.impact}: ${one.id}: ${one.help}, ${one.nodes[0].html.slice(0, 120)}`;
        if (serious) complain(where, told);
        else console.log(`${where}: (${told})`);
      }
      console.log(`${where}: ${seen.pictures} pictures, ${found.passes.length} rules of axe passed`);
      await page.close();
    }
  }
}
await browser.close();
process.exit(wrong === 0 ? 0 : 1);
