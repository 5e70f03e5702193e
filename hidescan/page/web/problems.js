// What is wrong with a photo or doubtful about a map, in the page's words, each with the way to mend it.
import { inUnits } from "./units.js";

/**
 * Why a photo gives no map: its text (none: the program's own), the picture that helps, and where to go.
 * Ways: "cards" (print them), a tool's name, "again" (another photo).
 */
export const PROBLEMS = {
  "no-card": { text: "No card can be seen in this photo. Lay one or two printed cards flat beside the hide, all of each in the picture.", picture: "cards", ways: ["cards", "again"] },
  "card-doubled": { text: "Two cards of the same number lie there. Every card needs a number of its own.", picture: "cards", ways: ["cards", "again"] },
  "card-inverted": { text: "The card was printed with black and white exchanged. Print it again, without the printer's dark mode.", picture: "cards", ways: ["cards"] },
  "card-misfit": { text: "The card is bent. Lay it flat, best glued to a stiff board, and photograph again.", picture: "spoils", ways: ["again", "cards"] },
  "cut-by-frame": { text: "The hide goes on beyond the edge of the photo. If the program took floor for hide, tap on it; if the hide is cut off, photograph it again with all of its rim, or add photos of the rest.", picture: "spoils", ways: ["taps", "photos", "again"], opens: "taps" },
  "several-hides": { text: "There is more than one hide here. Tap the one that you mean.", ways: ["taps"], opens: "taps" },
  "no-hide": { text: "No hide stands out from the floor. Tap on it, or trace its rim. A floor of another colour helps.", ways: ["taps", "rim", "again"] },
  "rim-off-floor": { text: "Part of the rim lies beyond the floor's horizon. Lay the cards flat beside the hide and photograph from higher up, or correct the rim.", picture: "lay", ways: ["rim", "again"] },
  "neck-off-floor": { text: "The neck was put where there is no floor. Set the back line again.", ways: ["back"] },
  "no-arrow": { text: "The card whose arrow was to show the neck is not in the photo. Set the back line by hand.", ways: ["back"] },
};

export const WAYS = { cards: "Cards to print", again: "Another photo", taps: "Tap the hide", rim: "Trace its rim", photos: "Add photos of the rest", back: "Set the back line" };

/** Doubts about a map: text (none: the program's own) and the tool that settles it. */
export const DOUBTS = {
  "scale-unmeasured": { text: "Nobody measured this print, and the printer is the largest error. Measure the card's two check bars, or a tape between two cards.", tool: "facts" },
  "ends-doubtful": { text: "Neck and tail may be the wrong way round, or no back line can be seen.", tool: "back" },
  "form-doubtful": { text: "Which part of a hide this is can only just be told.", tool: "facts" },
  "outline-doubtful": { text: "Hide and floor are hard to tell apart here. Look at the rim; taps set it right.", tool: "taps" },
  "rim-doubtful": { tool: "rim" },
  "tapes-disagree": { tool: "facts" },
  "size-unusual": { tool: "facts" },
  "focal-doubtful": { text: "The photo was zoomed or cropped: the cards say otherwise than its own data. The cards were believed." },
};

export const TOOL_NAMES = { facts: "Facts", back: "Back line", taps: "Taps", rim: "Rim" };

/** What the program names the parts of the ±, in the trade's words. */
export const SOURCES = { "corner noise": "card read unsharply", lens: "the camera's lens", "print scale": "the card's print", sampling: "how finely the rim is followed" };

const COMMAND = /(^|\s)--[a-z]|\bhidescan (card|map|edit|marks|export|sheet|lens|check|stretch|pieces|place|cost|advise|shelf|page|schema|manual|layout|cut|light)\b|\bX,Y\b|\bpixel\b|\b(sha256|JSON|CIEDE2000)\b|\brevision\b/;

/** A text of the program's without sentences meant for its command line, lengths in the units chosen. */
export function plainly(text) {
  const kept = text.replace(/ ?\([^()]*(--|hidescan )[^()]*\)/g, "").split(/(?<=[.:;!?])\s+/).filter((sentence) => !COMMAND.test(sentence));
  return inUnits(kept.join(" ").replace(/[:;]$/, ".")) || "That cannot be used. Nothing was changed.";
}
