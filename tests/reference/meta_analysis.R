# Reference numbers for published studies pooled: ratios of shares closed, and differences of mean percent reductions.
# Run once, from this folder:  Rscript meta_analysis.R
# It writes meta_analysis.csv and versions_meta_analysis.txt, and stops at the first published value it does not meet.
#
# Sources
#   bcg        Thirteen studies of BCG against tuberculosis: Colditz GA et al. JAMA 1994;271:698-702; metafor::dat.bcg
#              (metadat, GPL >= 2).
#   the others Counts, means and deviations of wound studies, as in data/published/trials.csv with their sources; written
#              out below, so that a change of that file does not change what it is held against.
# Methods
#   Viechtbauer W. Journal of Statistical Software 2010;36(3):1-48 (metafor: rma, rma.mh, predict, regtest, leave1out).
# Published
#   bcg: metafor's documentation, from memory. ultrasound: the Cochrane review of 2006 has 0.97 (0.65 to 1.45), from
#   memory.
#   high_volt: a review of the same four studies and 176 people prints the range 24.59 to 47.76 (Iran Journal of Public
#   Health, authors and year not seen); met within 0.1, because the deviations of one study are from its printed range.
# Versions: versions_meta_analysis.txt, written by the same run.

suppressMessages(library(metafor))

save_csv <- function(frame, name) write.csv(frame, name, row.names = FALSE, quote = FALSE, na = "", eol = "\n")

# ---- the studies --------------------------------------------------------------------------------------------------

counts <- function(text) read.table(header = TRUE, sep = ",", strip.white = TRUE, text = text)

closing <- counts("
  trial,          closed_treated, of_treated, closed_control, of_control
  Kloth 1988,     9,  9,  0,  7
  Griffin 1991,   2,  8,  2,  9
  Wood 1993,      25, 43, 1,  31
  Adunsky 2005,   5,  35, 3,  28
  Houghton 2010,  6,  16, 5,  18
")
ultrasound <- counts("
  trial,          closed_treated, of_treated, closed_control, of_control
  ter Riet 1996,  18, 45, 19, 43
  McDiarmid 1985, 10, 21, 8,  19
")
bcg <- with(dat.bcg, data.frame(trial = paste(author, year), closed_treated = tpos, of_treated = tpos + tneg,
                                closed_control = cpos, of_control = cpos + cneg))

# A deviation from a printed 95% range, by Student's t.
from_range <- function(low, high, n) (high - low) / 2 / qt(0.975, n - 1) * sqrt(n)
sizes <- counts("
  trial,         mean_treated, sd_treated, n_treated, mean_control, sd_control, n_control
  Houghton 2010, 70,    25,    16, 36,    61,    18
  Franek 2012,   88.9,  14,    26, 44.4,  63.1,  24
  Polak 2016,    80.31, 29.02, 25, 54.65, 42.65, 24
  Polak 2017,    82.34, NA,    23, 40.53, NA,    20
")
sizes$sd_treated[4] <- from_range(70.06, 94.63, 23)
sizes$sd_control[4] <- from_range(23.60, 57.46, 20)

ratios <- function(frame) escalc("RR", ai = closed_treated, n1i = of_treated, ci = closed_control, n2i = of_control,
                                 data = frame, slab = trial, add = 0.5, to = "only0")
differences <- escalc("MD", m1i = mean_treated, sd1i = sd_treated, n1i = n_treated, m2i = mean_control,
                      sd2i = sd_control, n2i = n_control, data = sizes, slab = trial)

# ---- the quantities: each function gives rows of meta_analysis.csv ------------------------------------------------

rows <- function(case, quantity, term, value)
  data.frame(case, quantity, term, value = as.numeric(value), row.names = NULL)

tight <- list(threshold = 1e-14, maxiter = 10000)
fit_way <- function(effects, way) switch(way,
  fixed = rma(yi, vi, data = effects, method = "FE"),
  `DerSimonian-Laird` = rma(yi, vi, data = effects, method = "DL"),
  REML = rma(yi, vi, data = effects, method = "REML", control = tight),
  `Hartung-Knapp` = rma(yi, vi, data = effects, method = "REML", test = "knha", control = tight),
  `Hartung-Knapp, no narrower` = rma(yi, vi, data = effects, method = "REML", test = "adhoc", control = tight))
ways <- c("fixed", "DerSimonian-Laird", "REML", "Hartung-Knapp", "Hartung-Knapp, no narrower")

of_way <- function(case, effects, way) {
  fit <- fit_way(effects, way)
  values <- c(estimate = as.numeric(fit$b), low = fit$ci.lb, high = fit$ci.ub, error = fit$se, tau2 = fit$tau2,
              q = fit$QE, p = fit$QEp, i2 = fit$I2)
  rows(case, names(values), way, values)
}

# The first is metafor's: Hartung-Knapp's error and degrees (studies less one). The second is the formula of Higgins
# JPT, Thompson SG, Spiegelhalter DJ. J R Stat Soc A 2009;172:137-159, which this version of metafor does not give.
of_prediction <- function(case, effects) {
  knapp <- predict(fit_way(effects, "Hartung-Knapp"))
  reml <- fit_way(effects, "REML")
  half <- qt(0.975, reml$k - 2) * sqrt(reml$tau2 + reml$se^2)
  rbind(rows(case, c("low", "high"), "prediction as Hartung-Knapp", c(knapp$pi.lb, knapp$pi.ub)),
        rows(case, c("low", "high"), "prediction", as.numeric(reml$b) + c(-half, half)))
}

of_studies <- function(case, effects)
  rbind(rows(case, "effect", effects$trial, effects$yi), rows(case, "variance", effects$trial, effects$vi))

# Egger's intercept is the slope of the effect on its error, each study weighted by its precision.
of_small <- function(case, effects) {
  egger <- regtest(fit_way(effects, "fixed"), model = "lm")$fit
  at <- coef(summary(egger))["Xsei", ]
  rows(case, c("egger", "egger_error", "egger_p"), "", at[c("Estimate", "Std. Error", "Pr(>|t|)")])
}

of_left_out <- function(case, effects)
  do.call(rbind, lapply(seq_len(nrow(effects)), function(gone) {
    fit <- fit_way(effects[-gone, ], "Hartung-Knapp")
    rows(case, paste0("without_", c("estimate", "low", "high")), effects$trial[gone],
         c(as.numeric(fit$b), fit$ci.lb, fit$ci.ub))
  }))

of_counts <- function(case, frame)
  do.call(rbind, lapply(names(frame)[-1], function(column) rows(case, column, frame$trial, frame[[column]])))

of_mantel <- function(case, frame) {
  fit <- rma.mh(ai = closed_treated, n1i = of_treated, ci = closed_control, n2i = of_control, data = frame,
                measure = "RR", add = c(0.5, 0), to = c("only0", "none"))
  values <- c(estimate = as.numeric(fit$b), low = fit$ci.lb, high = fit$ci.ub, error = fit$se, q = fit$QE)
  rows(case, names(values), "Mantel-Haenszel", values)
}

everything <- function(case, effects) {
  found <- rbind(of_studies(case, effects), do.call(rbind, lapply(ways, function(way) of_way(case, effects, way))))
  if (nrow(effects) < 3) return(found)
  rbind(found, of_prediction(case, effects), of_small(case, effects), of_left_out(case, effects))
}

counted <- list(closing = closing, ultrasound = ultrasound, bcg = bcg)
answers <- do.call(rbind, c(
  lapply(names(counted), function(case)
    rbind(of_counts(case, counted[[case]]), everything(case, ratios(counted[[case]])),
          of_mantel(case, counted[[case]]))),
  list(everything("high_volt", differences))))

# ---- the published values ------------------------------------------------------------------------------------------
# Met when the computed number, exp() of it where `exp` says so, rounds to the digits printed.

published <- read.table(header = TRUE, sep = ",", strip.white = TRUE, colClasses = "character", text = "
  case,       quantity, term,              exp, value
  bcg,        estimate, fixed,             no,  -0.4303
  bcg,        estimate, DerSimonian-Laird, no,  -0.7141
  bcg,        tau2,     DerSimonian-Laird, no,  0.3088
  bcg,        i2,       DerSimonian-Laird, no,  92.12
  bcg,        estimate, REML,              no,  -0.7145
  bcg,        error,    REML,              no,  0.1798
  bcg,        tau2,     REML,              no,  0.3132
  bcg,        i2,       REML,              no,  92.22
  bcg,        q,        fixed,             no,  152.23
  ultrasound, estimate, Mantel-Haenszel,   yes, 0.97
  ultrasound, low,      Mantel-Haenszel,   yes, 0.65
  ultrasound, high,     Mantel-Haenszel,   yes, 1.45
")

meets <- function(value, text) {
  digits <- ifelse(grepl("\\.", text), nchar(sub(".*\\.", "", text)), 0)
  abs(value - as.numeric(text)) <= 0.5 * 10^-digits + 1e-9
}
key <- function(frame) paste(frame$case, frame$quantity, frame$term, sep = "|")
computed <- answers$value[match(key(published), key(answers))]
computed <- ifelse(published$exp == "yes", exp(computed), computed)
met <- meets(computed, published$value)
if (!all(met)) print(cbind(published, computed)[!met, ])
stopifnot(met)

of_review <- answers$value[match(paste("high_volt", c("low", "high"), "fixed", sep = "|"), key(answers))]
stopifnot(abs(of_review - c(24.59, 47.76)) <= 0.1)

# ---- the answers --------------------------------------------------------------------------------------------------

answers$value <- sprintf("%.12g", answers$value)
answers$term <- gsub(",", ";", answers$term)
save_csv(answers, "meta_analysis.csv")
versions <- sapply(c("metafor", "metadat"), function(name) paste(name, packageVersion(name)))
writeLines(c(R.version.string, versions), "versions_meta_analysis.txt")
cat(nrow(answers), "rows;", nrow(published) + 2, "published values met\n")
