// Lists the canned states, for eyes.
import { byId, el } from "../common/dom.js";
import { NAMES } from "./states.js";

byId("list").replaceChildren(...NAMES.map((n) => el("li", {}, el("a", { href: `../?canned=${n}` }, n))));
