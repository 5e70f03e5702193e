// The names that the program offers: kinds of mark, facts to ask for, export formats. None of them is written here.
import * as api from "./api.js";

export const vocabulary = { marks: [], facts: [], exports: [] };

export async function loadVocabulary() {
  Object.assign(vocabulary, await api.vocabulary());
}

/** What people are shown for a kind of mark. */
export const markLabel = (kind) => vocabulary.marks.find(([name]) => name === kind)?.[1] ?? kind;
