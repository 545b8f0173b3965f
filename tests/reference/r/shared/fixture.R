# Writes one fixture. Numbers are written with the fewest of 15, 16 or 17 digits that read back to the very same
# double, so that a fixture loses nothing and stays readable. (jsonlite stops at 15 digits.) Every script runs
# with tests/reference/r as its working folder: `Rscript kaplan-meier.R FOLDER`.

output_folder <- function() {
  given <- commandArgs(TRUE)
  if (length(given) != 1) stop("give one argument: the folder to write the fixture to")
  dir.create(given, recursive = TRUE, showWarnings = FALSE)
  given
}

published <- function(name) {
  read.csv(file.path("..", "data", "published", name), comment.char = "#", stringsAsFactors = FALSE)
}

# An atomic vector of length one becomes a JSON value, a longer one an array; I(x) keeps an array of one.
as_json <- function(x, indent = "") {
  deeper <- paste0(indent, "  ")
  if (is.null(x)) return("null")
  if (is.matrix(x)) x <- lapply(seq_len(nrow(x)), function(row) I(unname(x[row, ])))
  if (is.list(x)) {
    parts <- vapply(x, as_json, "", indent = deeper)
    if (!is.null(names(x))) parts <- paste0(quoted(names(x)), ": ", parts)
    ends <- if (is.null(names(x))) c("[", "]") else c("{", "}")
    if (length(parts) == 0) return(paste0(ends, collapse = ""))
    return(paste0(ends[1], "\n", deeper, paste(parts, collapse = paste0(",\n", deeper)), "\n", indent, ends[2]))
  }
  values <- atoms(x)
  if (length(values) == 1 && !inherits(x, "AsIs")) values else paste0("[", paste(values, collapse = ", "), "]")
}

atoms <- function(x) {
  if (is.factor(x)) x <- as.character(x)
  if (is.character(x)) return(ifelse(is.na(x), "null", quoted(x)))
  if (is.logical(x)) return(ifelse(is.na(x), "null", ifelse(x, "true", "false")))
  finite <- is.finite(x)
  text <- rep("null", length(x))
  text[finite] <- vapply(as.numeric(x[finite]), number_text, "")
  text
}

number_text <- function(x) {
  text <- sprintf(c("%.15g", "%.16g", "%.17g"), x)
  text[match(TRUE, as.numeric(text) == x)]
}

quoted <- function(text) paste0("\"", gsub("\"", "\\\\\"", gsub("\\", "\\\\", text, fixed = TRUE)), "\"")

write_fixture <- function(name, packages, content) {
  versions <- lapply(setNames(packages, packages), function(package) as.character(packageVersion(package)))
  meta <- list(script = paste0("r/", name, ".R"), R = R.version.string, packages = versions)
  writeLines(as_json(c(list(meta = Filter(length, meta)), content)), file.path(output_folder(), paste0(name, ".json")))
}
