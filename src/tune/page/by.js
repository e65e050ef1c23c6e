// Elements of the page by their names.
/** The element of this id. */
export const by = (id) => document.getElementById(id);
