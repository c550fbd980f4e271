# Reading and cleaning by R's data.table, as an analyst would write it: text to types, rows once, owned and possible.
#
#     Rscript benchmarks/rivals/by_datatable.R FOLDER
#
# It asks no pseudonym whether it looks like a person, and counts no fault; it knows that files are UTF-8 with commas.

suppressPackageStartupMessages(library(data.table))
setDTthreads(1)
folder <- commandArgs(trailingOnly = TRUE)[1]

days <- c("day", "from_day", "to_day", "returned", "entered", "onset", "last_day")
numbers <- c(
  "length", "width", "depth", "area", "necrosis_share", "undermining", "tunnelling", "pulse_rate", "minutes",
  "staff_minutes", "volts", "charge_rate", "frequency", "duty", "intensity", "radiating_area", "per_week", "age",
  "risk_total", "relief_minutes", "pain_before", "pain_during", "pain_after"
)
tables <- c("residents", "wounds", "measurements", "sessions", "procedures", "spans", "departures")
cutoff <- as.IDate("2026-06-30")

read <- function(name) {
  rows <- fread(file.path(folder, paste0(name, ".csv")), colClasses = "character", na.strings = "", strip.white = TRUE)
  for (one in intersect(names(rows), days)) set(rows, j = one, value = as.IDate(rows[[one]], format = "%Y-%m-%d"))
  for (one in intersect(names(rows), numbers)) set(rows, j = one, value = suppressWarnings(as.numeric(rows[[one]])))
  unique(rows)
}

began <- proc.time()
told <- setNames(lapply(tables, read), tables)
wounds <- told$wounds[resident %chin% told$residents$resident]
sized <- told$measurements[wound %chin% wounds$wound & day <= cutoff]
sized[width > length, c("length", "width") := .(width, length)]
sized[, size := fifelse(state == "closed", 0, length * width)]
setorder(sized, wound, day)
sized <- unique(sized, by = c("wound", "day"))
closed <- sized[state == "closed", .(closed_day = min(day)), by = wound]
wounds <- closed[wounds, on = "wound"]
spent <- proc.time() - began

cat(sprintf(
  '{"seconds": %.4f, "wounds": %d, "measurements": %d, "area": %.10f}\n',
  spent[["user.self"]] + spent[["sys.self"]], nrow(wounds), nrow(sized), sum(sized$size, na.rm = TRUE)
))
