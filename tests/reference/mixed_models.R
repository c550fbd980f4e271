# Reference numbers for linear mixed models of nested groups: coefficients with errors and degrees of freedom, spreads,
# correlations, criteria, predicted effects. Each model by restricted and by full maximum likelihood.
# Run once, from this folder:  Rscript mixed_models.R
# It writes the data sets, mixed_models.csv and versions_mixed_models.txt, and stops at the first published or
# hand-worked value it does not meet.
#
# Sources
#   sleepstudy  Belenky G et al. Journal of Sleep Research 2003;12:1-12; lme4::sleepstudy, 18 people on 10 days. Bates
#               D, Maechler M, Bolker B, Walker S. Journal of Statistical Software 2015;67(1) print its fits.
#   pastes      Davies OL, Goldsmith PL. Statistical Methods in Research and Production. Oliver and Boyd 1972;
#               lme4::Pastes, 30 casks (sample) of 10 deliveries (batch), two tests each. The values by full likelihood
#               are quoted from memory.
#   orthodont   Potthoff RF, Roy SN. Biometrika 1964;51:313-326; nlme::Orthodont, 27 children at 8, 10, 12, 14 years.
#               Its values are those of Pinheiro JC, Bates DM. Mixed-Effects Models in S and S-PLUS. Springer 2000,
#               and for the full likelihood of Verbeke G, Molenberghs G. Linear Mixed Models for Longitudinal Data.
#               Springer 2000, both quoted from memory.
#   courses     the invented export of data/synthetic/lifelike: log area of open wounds within residents within
#               facilities. Nothing is published; these numbers are lme4's alone.
#   oneway      made for hand calculation; the arithmetic stands below.
# Methods
#   Patterson HD, Thompson R. Biometrika 1971;58:545-554 (restricted likelihood).
#   Laird NM, Ware JH. Biometrics 1982;38:963-974 (random effects and their prediction).
#   Satterthwaite FE. Biometrics Bulletin 1946;2:110-114; Kuznetsova A, Brockhoff PB, Christensen RHB. Journal of
#   Statistical Software 2017;82(13) (degrees of freedom, as in lmerTest).
# Versions: versions_mixed_models.txt, written by the same run.

suppressPackageStartupMessages(library(lme4))
suppressPackageStartupMessages(library(lmerTest))
library(nlme, exclude = "lmList")
library(numDeriv)

save_csv <- function(frame, name) write.csv(frame, name, row.names = FALSE, quote = FALSE, na = "", eol = "\n")

# ---- the data sets ------------------------------------------------------------------------------------------------

orthodont_csv <- data.frame(distance = Orthodont$distance, age = Orthodont$age,
                            Subject = as.character(Orthodont$Subject), Sex = as.character(Orthodont$Sex))

# Three groups of four with means 10, 14, 18 and sums of squares within 10, 10, 16.
oneway <- data.frame(group = rep(c("a", "b", "c"), each = 4), y = c(8, 9, 11, 12, 12, 13, 15, 16, 16, 16, 20, 20))

# One row a wound and day: the first in the file, as exact duplicates are one row too. The depth of a wound is
# its first charted stage; a wound that was never staged is not deep. Wounds that no list names belong to nobody
# and go. Sizes are length times width, in square centimetres; weeks count from the wound's first row.
read_export <- function(name) read.csv(file.path("../../data/synthetic/lifelike", name), colClasses = "character",
                                       na.strings = "")
invented_courses <- function() {
  wounds <- merge(read_export("wounds.csv")[, c("wound", "resident")],
                  read_export("residents.csv")[, c("resident", "facility")])
  charted <- read_export("measurements.csv")
  area <- as.numeric(charted$length) * as.numeric(charted$width)
  open <- charted[charted$state == "open" & !is.na(area) & area > 0, ]
  open$log_area <- round(log(as.numeric(open$length) * as.numeric(open$width)), 6)
  open <- open[!duplicated(open[, c("wound", "day")]) & open$wound %in% wounds$wound, ]
  open <- open[order(open$wound, open$day, method = "radix"), ]
  days <- as.numeric(as.Date(open$day))
  open$week <- round((days - ave(days, open$wound, FUN = min)) / 7, 6)
  staged <- open[!is.na(open$stage), ]
  first <- staged[!duplicated(staged$wound), ]
  open$deep <- as.numeric(open$wound %in% first$wound[first$stage %in% c("3", "4", "unstageable")])
  owner <- match(open$wound, wounds$wound)
  data.frame(wound = open$wound, resident = wounds$resident[owner], facility = wounds$facility[owner],
             open[, c("day", "week", "deep", "log_area")])
}

save_csv(sleepstudy, "sleepstudy.csv")
save_csv(Pastes[, c("strength", "batch", "sample")], "pastes.csv")
save_csv(orthodont_csv, "orthodont.csv")
save_csv(invented_courses(), "courses.csv")

# What is fitted is what was written.
sleep <- read.csv("sleepstudy.csv")
pastes <- read.csv("pastes.csv")
orthodont <- read.csv("orthodont.csv")
orthodont$Sex <- factor(orthodont$Sex, c("Male", "Female"))
courses <- read.csv("courses.csv")
one_each <- function(inner, outer) all(rowSums(table(inner, outer) > 0) == 1)
stopifnot(one_each(pastes$sample, pastes$batch), one_each(courses$wound, courses$resident),
          one_each(courses$resident, courses$facility), !anyNA(courses))

# ---- the fits -----------------------------------------------------------------------------------------------------

# An optimiser may come to rest at a spread of 0, which is always a level place, although the criterion is lower beyond.
off_zero <- function(criterion, theta, lower) {
  tried <- c(0, 0.05, 0.1, 0.2, 0.4)
  for (k in which(lower == 0 & theta < 0.01))
    theta[k] <- tried[which.min(vapply(tried, function(value) criterion(replace(theta, k, value)), 0))]
  theta
}

# lme4 stops where the criterion is flat to its eyes, about 1e-6 from the lowest point in the relative factor. Newton
# steps by numerical derivatives go on from there, over the parameters that are not held at their bound of 0.
settle <- function(criterion, theta, lower) {
  free <- lower < 0 | theta > 0
  of_free <- function(part) criterion(replace(theta, free, part))
  for (round in 1:8) {
    bend <- hessian(of_free, theta[free])
    step <- solve(bend, grad(of_free, theta[free], method.args = list(d = 0.01)))
    theta[free] <- theta[free] - step
  }
  stopifnot(abs(step) < 1e-7, eigen(bend)$values > 0, theta >= lower)
  beyond <- vapply(which(!free), function(k) criterion(replace(theta, k, 0.01)) - criterion(theta), 0)
  stopifnot(beyond > 0)
  theta
}

settled <- function(formula, data, reml) {
  parts <- lFormula(formula, data, REML = reml)
  criterion <- do.call(mkLmerDevfun, parts)
  rough <- optimizeLmer(criterion, optimizer = "bobyqa")
  lower <- environment(criterion)$lower
  theta <- settle(criterion, off_zero(criterion, rough$par, lower), lower)
  at <- criterion(theta)
  stopifnot(at <= rough$fval + 1e-9)
  call <- match.call(lmer, quote(lmer(formula, data, REML = reml)))
  found <- mkMerMod(environment(criterion), list(par = theta, fval = at, conv = 0), parts$reTrms, parts$fr, call)
  found@call <- bquote(lme4::lmer(.(formula), data = .(data), REML = .(reml)))
  as_lmerModLmerTest(found)
}

# ---- the quantities: each function gives rows of mixed_models.csv -------------------------------------------------

rows <- function(case, model, method, quantity, term, value)
  if (length(value)) data.frame(case, model, method, quantity, term, value = as.numeric(value), row.names = NULL)

fixed_rows <- function(place, found) {
  table <- summary(found)$coefficients
  quantities <- c(Estimate = "coefficient", "Std. Error" = "error", df = "df", "t value" = "t")
  do.call(rbind, lapply(names(quantities), function(column)
    place(quantities[[column]], rownames(table), table[, column])))
}

# Terms of spreads: the group, with the column behind it where there is one beside the intercept.
spread_rows <- function(place, found) {
  spreads <- as.data.frame(VarCorr(found))
  single <- is.na(spreads$var2) & spreads$grp != "Residual"
  names <- ifelse(is.na(spreads$var1), NA, paste(spreads$grp, spreads$var1, sep = ":"))
  both <- !is.na(spreads$var2)
  rbind(place("sd", names[single], spreads$sdcor[single]), place("variance", names[single], spreads$vcov[single]),
        place("correlation", spreads$grp[both], spreads$sdcor[both]),
        place("covariance", spreads$grp[both], spreads$vcov[both]),
        place("residual_sd", NA, sigma(found)))
}

criterion_rows <- function(place, found) {
  value <- if (isREML(found)) REMLcrit(found) else -2 * as.numeric(logLik(found))
  place("criterion", NA, value)
}

# By name in plain order; the first `shown`, and the variances of the first `varied` given the estimates.
effect_rows <- function(place, found, shown = 20, varied = 5) {
  every <- ranef(found, condVar = TRUE)
  of_group <- function(group) {
    effects <- every[[group]]
    first <- head(order(rownames(effects), method = "radix"), shown)
    spread <- attr(effects, "postVar")
    name <- rownames(effects)[first]
    few <- head(seq_along(first), varied)
    pair <- function(i, j, label) place(label, paste(group, name[few], sep = ":"), spread[i, j, first[few]])
    one <- function(column, quantity) place(quantity, paste(group, name, sep = ":"), effects[first, column])
    found <- rbind(one(1, "effect_intercept"), pair(1, 1, "effect_variance_intercept"))
    if (ncol(effects) == 1) return(found)
    rbind(found, one(2, "effect_slope"), pair(2, 2, "effect_variance_slope"), pair(1, 2, "effect_covariance"))
  }
  do.call(rbind, lapply(names(every), of_group))
}

contrast_rows <- function(place, found, contrasts) {
  one <- function(name) {
    answer <- contest1D(found, as.numeric(names(fixef(found)) %in% contrasts[[name]]))
    rbind(place("contrast", name, answer$Estimate), place("contrast_error", name, answer[["Std. Error"]]),
          place("contrast_df", name, answer$df))
  }
  do.call(rbind, lapply(names(contrasts), one))
}

fit_rows <- function(case, model, formula, data, effects = FALSE, contrasts = list()) {
  one <- function(reml) {
    found <- settled(formula, data, reml)
    place <- function(quantity, term, value) rows(case, model, if (reml) "REML" else "ML", quantity, term, value)
    rbind(fixed_rows(place, found), spread_rows(place, found), criterion_rows(place, found),
          if (effects) effect_rows(place, found), contrast_rows(place, found, contrasts))
  }
  rbind(one(TRUE), one(FALSE))
}

# The same from nlme, which optimises another way; it has no degrees of freedom of this kind.
nlme_rows <- function(case, model, fixed, random, data) {
  one <- function(method) {
    found <- lme(fixed, data, random, method = method,
                 control = lmeControl(tolerance = 1e-12, msTol = 1e-12, maxIter = 200, msMaxIter = 200))
    rbind(rows(case, model, method, "coefficient", names(fixef(found)), fixef(found)),
          rows(case, model, method, "error", names(fixef(found)), sqrt(diag(vcov(found)))),
          rows(case, model, method, "residual_sd", NA, found$sigma))
  }
  rbind(one("REML"), one("ML"))
}

# ---- the cases ----------------------------------------------------------------------------------------------------

sleeping <- rbind(
  fit_rows("sleepstudy", "slopes", Reaction ~ Days + (Days | Subject), sleep, effects = TRUE,
           contrasts = list("day 1" = c("(Intercept)", "Days"))),
  fit_rows("sleepstudy", "intercepts", Reaction ~ Days + (1 | Subject), sleep, effects = TRUE))
pasting <- fit_rows("pastes", "nested", strength ~ 1 + (1 | batch) + (1 | sample), pastes)
growing <- fit_rows("orthodont", "slopes", distance ~ age * Sex + (age | Subject), orthodont)

deep_slope <- list("slope of deep" = c("week", "week:deep"))
closing <- rbind(
  fit_rows("courses", "wounds", log_area ~ week * deep + facility + (week | wound), courses, TRUE, deep_slope),
  fit_rows("courses", "residents", log_area ~ week * deep + facility + (week | wound) + (1 | resident), courses, TRUE,
           deep_slope),
  fit_rows("courses", "facilities",
           log_area ~ week * deep + (week | wound) + (1 | resident) + (1 | facility), courses, TRUE, deep_slope))

balanced <- fit_rows("oneway", "groups", y ~ 1 + (1 | group), oneway)

numbers <- rbind(sleeping, pasting, growing, closing, balanced)
key <- function(frame, columns = c("case", "model", "method", "quantity", "term"))
  do.call(paste, c(lapply(columns, function(column) ifelse(is.na(frame[[column]]), "-", frame[[column]])), sep = "|"))
stopifnot(!duplicated(key(numbers)), is.finite(numbers$value))

# Two programs, one answer.
second <- rbind(nlme_rows("oneway", "groups", y ~ 1, ~ 1 | group, oneway),
                nlme_rows("sleepstudy", "slopes", Reaction ~ Days, ~ Days | Subject, sleep),
                nlme_rows("pastes", "nested", strength ~ 1, ~ 1 | batch / sample, pastes),
                nlme_rows("orthodont", "slopes", distance ~ age * Sex, ~ age | Subject, orthodont),
                nlme_rows("courses", "wounds", log_area ~ week * deep + facility, ~ week | wound, courses))
apart <- abs(numbers$value[match(key(second), key(numbers))] / second$value - 1)
stopifnot(apart < 1e-5)

# ---- the published values ----------------------------------------------------------------------------------------
# Met when the computed number rounds to the digits printed.

published <- read.table(header = TRUE, colClasses = "character", na.strings = "-", text = "
  case        model       method  quantity     term                 published
  sleepstudy  slopes      REML    coefficient  (Intercept)          251.40510
  sleepstudy  slopes      REML    coefficient  Days                 10.467286
  sleepstudy  slopes      REML    error        (Intercept)          6.825
  sleepstudy  slopes      REML    error        Days                 1.546
  sleepstudy  slopes      REML    sd           Subject:(Intercept)  24.740
  sleepstudy  slopes      REML    sd           Subject:Days         5.9221
  sleepstudy  slopes      REML    correlation  Subject              0.066
  sleepstudy  slopes      REML    residual_sd  -                    25.5918
  sleepstudy  slopes      REML    variance     Subject:(Intercept)  612.09
  sleepstudy  slopes      REML    variance     Subject:Days         35.07
  sleepstudy  slopes      REML    covariance   Subject              9.60
  sleepstudy  slopes      REML    criterion    -                    1743.628
  sleepstudy  slopes      REML    df           (Intercept)          17.00
  sleepstudy  slopes      REML    df           Days                 17.00
  sleepstudy  slopes      ML      criterion    -                    1751.939
  sleepstudy  intercepts  REML    coefficient  (Intercept)          251.4051
  sleepstudy  intercepts  REML    coefficient  Days                 10.4673
  sleepstudy  intercepts  REML    error        (Intercept)          9.746716
  sleepstudy  intercepts  REML    error        Days                 0.804221
  sleepstudy  intercepts  REML    sd           Subject:(Intercept)  37.124
  sleepstudy  intercepts  REML    residual_sd  -                    30.991
  pastes      nested      REML    coefficient  (Intercept)          60.0533
  pastes      nested      REML    sd           sample:(Intercept)   2.9041
  pastes      nested      REML    variance     sample:(Intercept)   8.4337
  pastes      nested      REML    variance     batch:(Intercept)    1.6573
  pastes      nested      ML      error        (Intercept)          0.6421
  pastes      nested      ML      sd           batch:(Intercept)    1.0951
  orthodont   slopes      REML    coefficient  (Intercept)          16.3406
  orthodont   slopes      REML    error        (Intercept)          1.0185
  orthodont   slopes      REML    coefficient  age                  0.7844
  orthodont   slopes      REML    error        age                  0.0860
  orthodont   slopes      REML    coefficient  SexFemale            1.0321
  orthodont   slopes      REML    error        SexFemale            1.5957
  orthodont   slopes      REML    coefficient  age:SexFemale        -0.3048
  orthodont   slopes      REML    error        age:SexFemale        0.1347
  orthodont   slopes      REML    sd           Subject:(Intercept)  2.4055
  orthodont   slopes      REML    sd           Subject:age          0.1803
  orthodont   slopes      REML    correlation  Subject              -0.668
  orthodont   slopes      REML    residual_sd  -                    1.3100
  orthodont   slopes      ML      criterion    -                    427.806
")

meets <- function(value, text) {
  digits <- nchar(sub(".*\\.", "", text))
  abs(value - as.numeric(text)) <= 0.5 * 10^-digits + 1e-9
}

computed <- numbers$value[match(key(published), key(numbers))]
met <- mapply(meets, computed, published$published) %in% TRUE
if (!all(met)) print(cbind(published, computed)[!met, ])
stopifnot(met)

# lme4 left to itself stops a little short of the lowest point, and it is these six digits that are mostly quoted:
# error 6.824597 (lowest point 6.824557), spread of the intercepts 24.7407 (24.7405), their variance 612.10 (612.09).
as_quoted <- lmer(Reaction ~ Days + (Days | Subject), sleep)
stopifnot(meets(summary(as_quoted)$coefficients[, 2], c("6.824597", "1.545790")),
          meets(as.data.frame(VarCorr(as_quoted))$sdcor, c("24.7407", "5.9221", "0.066", "25.5918")))

# The balanced case by hand, a = 3 groups of n = 4. Within: 10 + 10 + 16 = 36 over 9, so 4. Between:
# 4 (16 + 0 + 16) = 128 over 2, so 64. REML: residual 4, groups (64 - 4) / 4 = 15, error of the mean sqrt(64 / 12),
# a - 1 = 2 degrees. ML divides by a: 128 / 3 = 42.667, groups (42.667 - 4) / 4 = 29 / 3, error sqrt(42.667 / 12),
# a = 3 degrees.
by_hand <- read.table(header = TRUE, na.strings = "-", text = "
  case    model   method  quantity     term               value
  oneway  groups  REML    coefficient  (Intercept)        14
  oneway  groups  REML    error        (Intercept)        2.3094010768
  oneway  groups  REML    df           (Intercept)        2
  oneway  groups  REML    residual_sd  -                  2
  oneway  groups  REML    variance     group:(Intercept)  15
  oneway  groups  ML      coefficient  (Intercept)        14
  oneway  groups  ML      error        (Intercept)        1.8856180832
  oneway  groups  ML      df           (Intercept)        3
  oneway  groups  ML      residual_sd  -                  2
  oneway  groups  ML      variance     group:(Intercept)  9.6666666667
")
off <- abs(numbers$value[match(key(by_hand), key(numbers))] / by_hand$value - 1)
stopifnot(off < ifelse(by_hand$quantity == "df", 1e-5, 1e-8))

# ---- the answers --------------------------------------------------------------------------------------------------

# Nine digits: sums are not always taken in the same order, and runs differ in the eighth.
numbers$value <- sprintf("%.9g", numbers$value)
save_csv(numbers, "mixed_models.csv")
version_of <- function(package) paste(package, packageVersion(package))
writeLines(c(R.version.string, sapply(c("lme4", "lmerTest", "nlme", "numDeriv"), version_of)),
           "versions_mixed_models.txt")
cat(nrow(numbers), "numbers;", nrow(published), "published values met;", nrow(by_hand), "worked by hand\n")
