export const DE = {};
