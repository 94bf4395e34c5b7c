# Expected values for the data sets beside this script, from lme4, lmerTest, pbkrtest and emmeans.
# Versions go into versions.csv. One row a number: data, what, group, term, level, value.
suppressPackageStartupMessages({library(lme4); library(lmerTest); library(pbkrtest); library(emmeans)})
emm_options(lmerTest.limit = 1e5, pbkrtest.limit = 1e5)
models <- read.csv("models.csv", colClasses = "character")
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e5), calc.derivs = FALSE)
out <- list()
put <- function(data, what, value, group = "", term = "", level = "")
  out[[length(out) + 1]] <<- data.frame(data, what, group, term, level, value = sprintf("%.15g", value))
for (i in seq_len(nrow(models))) {
  m <- models[i, ]; name <- m$data
  d <- read.csv(paste0(name, ".csv"), stringsAsFactors = TRUE)
  if ("cue" %in% names(d) && "plain" %in% levels(d$cue)) d$cue <- relevel(d$cue, "plain")
  d$w. <- if (m$weights == "") rep(1, nrow(d)) else d[[m$weights]]
  d0 <- d
  fit <- if (m$weights == "") lmer(as.formula(m$formula), d, control = tight)
         else lmer(as.formula(m$formula), d, weights = w., control = tight)
  ml <- update(fit, REML = FALSE)
  put(name, "criterion_reml", REMLcrit(fit)); put(name, "criterion_ml", -2 * as.numeric(logLik(ml)))
  put(name, "sigma", sigma(fit)); put(name, "rows", nobs(fit))
  s <- coef(summary(fit))
  put(name, "estimate", s[, 1], term = rownames(s)); put(name, "se", s[, 2], term = rownames(s))
  # Degrees of freedom do not depend on place and scale of the response; lmerTest's numeric derivatives do at 1e-6 and 1e6.
  d$y <- (d$y - mean(d$y)) / sd(d$y); unit <- update(fit, data = d); d <- d0
  put(name, "df", coef(summary(unit))[, 3], term = rownames(s))
  adjusted <- vcovAdj(fit); L <- diag(nrow(s))
  put(name, "se_kr", sqrt(diag(as.matrix(adjusted))), term = rownames(s))
  put(name, "df_kr", sapply(seq_len(nrow(s)), function(j) Lb_ddf(L[j, ], vcov(fit), adjusted)), term = rownames(s))
  theta <- getME(fit, "theta")
  put(name, "theta", theta, term = names(theta))
  v <- as.data.frame(VarCorr(fit))
  put(name, "variance", v$vcov, group = v$grp, term = ifelse(is.na(v$var1), "", v$var1), level = ifelse(is.na(v$var2), "", v$var2))
  r <- as.data.frame(ranef(fit))
  put(name, "mode", r$condval, group = r$grpvar, term = as.character(r$term), level = as.character(r$grp))
  put(name, "mode_sd", r$condsd, group = r$grpvar, term = as.character(r$term), level = as.character(r$grp))
  if (m$factor != "") {
    at <- if (m$by == "on") list(on = c(0, 1)) else list()
    spec <- as.formula(paste("~", m$factor, if (m$by != "") paste("|", m$by)))
    for (how in c("satterthwaite", "kenward-roger")) {
      if (how == "kenward-roger" && m$weights != "") next
      e <- emmeans(fit, spec, data = d, at = at, lmer.df = how)
      t <- as.data.frame(summary(e)); by <- if (m$by == "") "" else as.character(t[[m$by]])
      tag <- if (how == "satterthwaite") "" else "_kr"
      put(name, paste0("mean", tag), t$emmean, group = by, term = as.character(t[[m$factor]]))
      put(name, paste0("mean_se", tag), t$SE, group = by, term = as.character(t[[m$factor]]))
      put(name, paste0("mean_df", tag), t$df, group = by, term = as.character(t[[m$factor]]))
      t <- as.data.frame(summary(contrast(e, "revpairwise"), adjust = "none")); by <- if (m$by == "") "" else as.character(t[[m$by]])
      put(name, paste0("contrast", tag), t$estimate, group = by, term = as.character(t$contrast))
      put(name, paste0("contrast_se", tag), t$SE, group = by, term = as.character(t$contrast))
      put(name, paste0("contrast_df", tag), t$df, group = by, term = as.character(t$contrast))
    }
  }
}
# Residual SDs by group are beyond lme4: nlme has them. Data of "weighted", without its weights.
d <- read.csv("weighted.csv", stringsAsFactors = TRUE)
for (method in c("REML", "ML")) {
  fit <- nlme::lme(y ~ cue + x, random = ~ 1 + x | student, weights = nlme::varIdent(form = ~ 1 | pattern), data = d, method = method,
                   control = nlme::lmeControl(tolerance = 1e-9, msMaxIter = 500, msMaxEval = 5000, returnObject = TRUE))
  put("strata", paste0("criterion_", tolower(method)), -2 * as.numeric(logLik(fit)))
  if (method == "REML") {
    put("strata", "estimate", nlme::fixef(fit), term = names(nlme::fixef(fit)))
    put("strata", "se", sqrt(diag(fit$varFix)), term = names(nlme::fixef(fit)))
    ratio <- coef(fit$modelStruct$varStruct, unconstrained = FALSE, allCoef = TRUE)
    put("strata", "residual_sd", fit$sigma * ratio, term = names(ratio))
  }
}
# Profile intervals: lme4 profiles the likelihood, never the restricted one.
for (name in c("nested", "crossed", "singular")) {
  m <- models[models$data == name, ]; d <- read.csv(paste0(name, ".csv"), stringsAsFactors = TRUE)
  if ("cue" %in% names(d) && "plain" %in% levels(d$cue)) d$cue <- relevel(d$cue, "plain")
  ci <- suppressWarnings(confint(lme4::lmer(as.formula(m$formula), d, REML = FALSE, control = tight), parm = "theta_", method = "profile", oldNames = FALSE))
  ci <- ci[grepl("^sd_|^sigma", rownames(ci)), , drop = FALSE]
  term <- sub("^sd_(.*)\\|.*$", "\\1", rownames(ci)); group <- sub("^sd_.*\\|", "", rownames(ci))
  put(name, "profile_low", ci[, 1], group = group, term = term); put(name, "profile_high", ci[, 2], group = group, term = term)
}
write.csv(do.call(rbind, out), "expected.csv", row.names = FALSE)
used <- c("nlme", "lme4", "lmerTest", "pbkrtest", "emmeans")
write.csv(data.frame(package = c("R", used), version = c(as.character(getRversion()), sapply(used, function(p) as.character(packageVersion(p))))),
          "versions.csv", row.names = FALSE)
